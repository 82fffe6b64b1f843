"""A hold that a controller chops: an average on the meter, and a sound machine behind it."""

from collections.abc import Iterator

import numpy as np
import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge
from engine.knowledge.items import Circuit
from engine.physics.machine import Machine, make_variant
from engine.physics.model import VariantModel, build_variant
from engine.physics.prediction import OutcomePrediction, ReadingPrediction

MACHINE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
MOVED = 0.25  # of the hypotheses' chances, or standard uncertainties


@pytest.fixture(scope="module")
def pairs(knowledge: Knowledge) -> dict[str, tuple[VariantModel, VariantModel]]:
    """Each circuit that may be chopped, solved steady and chopped."""
    return {
        one.id: tuple(
            build_variant(knowledge, make_variant(_machine(one), one, "body-ground", chopped))
            for chopped in (False, True)
        )
        for one in knowledge.circuits.values() if one.chopping
    }  # fmt: skip


def _machine(circuit: Circuit) -> Machine:
    return Machine(circuit.duty, circuit.control, "body-ground")


def _moved(steady: VariantModel, chopped: VariantModel) -> Iterator[str]:
    """Yield the checks that a sound machine answers otherwise where its hold is chopped."""
    for name, one in steady.predictions.items():
        other = chopped.predictions[name]
        if isinstance(one, OutcomePrediction):
            assert isinstance(other, OutcomePrediction)
            if np.abs(one.shares[0] - other.shares[0]).sum() / 2 > MOVED:
                yield name
        elif isinstance(other, ReadingPrediction) and not one.flat[0]:
            spread = np.hypot(one.default_sigma[0], other.default_sigma[0])
            if abs(one.middle[0] - other.middle[0]) / spread > MOVED:
                yield name


def test_the_checks_named_are_those_that_chopping_changes(
    knowledge: Knowledge, pairs: dict[str, tuple[VariantModel, VariantModel]]
) -> None:
    """``shown_by`` of a circuit is what its own equations say."""
    assert len(pairs) == 2
    for name, (steady, chopped) in pairs.items():
        chopping = knowledge.circuits[name].chopping
        assert chopping is not None
        assert set(_moved(steady, chopped)) == set(chopping.shown_by), name


def test_a_sound_chopped_hold_averages_four_to_six_volts(
    pairs: dict[str, tuple[VariantModel, VariantModel]],
) -> None:
    """Common practice, no source: 4 to 6 V on a 12 V machine's meter, and the plunger stays."""
    for _, chopped in pairs.values():
        volts = chopped.predictions["hold-pin-voltage"]
        assert isinstance(volts, ReadingPrediction)
        assert 4 < volts.mu[0] < 6
        held = chopped.predictions["hand-push-hold"]
        assert isinstance(held, OutcomePrediction)
        assert held.shares[0][held.names.index("stays")] > 0.9


def _chances(diagnoser: Diagnoser, **told: str) -> dict[str, float]:
    findings = [
        {"check": "hold-pin-voltage", "value": 5.0, "unit": "V"},
        {"check": "lamp-at-hold-pin", "outcome": "dim"},
        {"check": "hold-current", "value": 0.3, "unit": "A"},
    ]
    answer = diagnoser.diagnose({"machine": MACHINE | told, "findings": findings})
    return {one["id"]: one["probability"] for one in answer["causes"]}


def test_five_volts_condemn_no_hold_wire_where_the_hold_may_be_chopped(
    diagnoser: Diagnoser,
) -> None:
    """Resistance in the hold wire leads where the hold is known to be steady, and only there."""
    steady, nobody_said = _chances(diagnoser, hold_drive="steady"), _chances(diagnoser)
    assert max(steady, key=lambda one: steady[one]) == "hold-wire-resistive"
    assert nobody_said.get("hold-wire-resistive", 0) < 0.5 < steady["hold-wire-resistive"]
    chopped = _chances(diagnoser, hold_drive="chopped")
    assert chopped.get("hold-wire-resistive", 0) < 0.2


def test_full_volts_tell_that_the_hold_is_steady(diagnoser: Diagnoser) -> None:
    """13.5 V at the hold pin: the same answer as where the hold is said to be steady."""
    findings = [{"check": "hold-pin-voltage", "value": 13.5, "unit": "V"}]
    known, asked = (
        diagnoser.diagnose({"machine": MACHINE | told, "findings": findings})
        for told in ({"hold_drive": "steady"}, {})
    )
    assert known["causes"] == asked["causes"]
