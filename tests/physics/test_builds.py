"""What a controller may be built otherwise: it chops the hold, or grounds the relay."""

from collections.abc import Iterator

import numpy as np
import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge, items
from engine.physics.machine import Machine, make_variant
from engine.physics.model import VariantModel, build_variants
from engine.physics.prediction import OutcomePrediction, ReadingPrediction

MACHINE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
MOVED = 0.25  # of the hypotheses' chances, or standard uncertainties
Pairs = dict[tuple[str, str], tuple[VariantModel, VariantModel]]


@pytest.fixture(scope="module")
def pairs(knowledge: Knowledge) -> Pairs:
    """Each circuit that may be built otherwise, solved as usual and so."""
    found = {}
    for one in knowledge.circuits.values():
        machine = Machine(one.duty, one.control, "body-ground")
        ways = [(), *((name,) for name in items.BUILDS if one.otherwise(name))]
        variants = [make_variant(machine, one, "body-ground", so) for so in ways]
        built = dict(zip(ways, build_variants(knowledge, variants), strict=True))
        found |= {(one.id, so[0]): (built[()], model) for so, model in built.items() if so}
    return found


def _moved(usual: VariantModel, otherwise: VariantModel) -> Iterator[str]:
    """Yield the checks that a sound machine answers otherwise where it is built so."""
    for name, one in usual.predictions.items():
        other = otherwise.predictions[name]
        if isinstance(one, OutcomePrediction):
            assert isinstance(other, OutcomePrediction)
            if np.abs(one.shares[0] - other.shares[0]).sum() / 2 > MOVED:
                yield name
        elif isinstance(other, ReadingPrediction) and not one.flat[0]:
            spread = np.hypot(one.default_sigma[0], other.default_sigma[0])
            if abs(one.middle[0] - other.middle[0]) / spread > MOVED:
                yield name


@pytest.mark.parametrize("build", items.BUILDS)
def test_the_checks_named_are_those_that_a_build_changes(
    knowledge: Knowledge, pairs: Pairs, build: str
) -> None:
    """``shown_by`` of what a circuit may be built otherwise is what its own equations say."""
    mine = {circuit: two for (circuit, name), two in pairs.items() if name == build}
    assert len(mine) == 2
    for name, (usual, otherwise) in mine.items():
        what = knowledge.circuits[name].otherwise(build)
        assert what is not None
        assert set(_moved(usual, otherwise)) == set(what.shown_by), name


def test_a_sound_chopped_hold_averages_four_to_six_volts(
    pairs: Pairs,
) -> None:
    """Common practice, no source: 4 to 6 V on a 12 V machine's meter, and the plunger stays."""
    for chopped in (two[1] for (_, build), two in pairs.items() if build == "hold_drive"):
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


def test_an_output_that_switches_the_ground_side_is_near_zero_on_command(pairs: Pairs) -> None:
    """Common practice, no source: 85 is pulled to 0.2 to 0.5 V, here from the battery's post and
    while cranking a little more; the relay operates as ever."""
    for low in (two[1] for (_, build), two in pairs.items() if build == "relay_switched"):
        volts = low.predictions["pull-output-voltage"]
        assert isinstance(volts, ReadingPrediction)
        assert 0.2 < volts.mu[0] < 0.7
        assert low.events["relay-operates"][0] > 0.99


SILENT = [
    {"check": "brake-response", "outcome": "will-not-release"},
    {"check": "relay-click", "outcome": "not-heard"},
    {"check": "hold-pin-voltage", "value": 13.2, "unit": "V"},
]


def _leader(diagnoser: Diagnoser, side: str, **volts: float) -> str:
    read = [{"check": name.replace("_", "-"), "value": one, "unit": "V"}
            for name, one in volts.items()]  # fmt: skip
    answer = diagnoser.diagnose(
        {"machine": MACHINE | {"relay_switched": side}, "findings": [*SILENT, *read]}
    )
    leader: str = answer["causes"][0]["id"]
    return leader


def test_a_dead_output_is_judged_by_the_side_that_it_switches(diagnoser: Diagnoser) -> None:
    """An output that feeds the coil is dead near zero, one that grounds it at battery volts. At
    85 battery volts are the coil's lost ground, or the wire to the output that should be it."""
    assert _leader(diagnoser, "high", pull_output_voltage=0.3) == "pull-output-dead"
    assert _leader(diagnoser, "low", pull_output_voltage=13.2) == "pull-output-dead"
    assert _leader(diagnoser, "high", relay_85_ground_voltage=13.2) == "relay-command-open"
    wire = {"relay_85_ground_voltage": 13.2, "pull_output_voltage": 0.02}
    assert _leader(diagnoser, "low", **wire) == "relay-command-open"


def test_battery_volts_at_85_are_not_laid_to_a_wire_where_the_output_may_be_its_ground(
    diagnoser: Diagnoser,
) -> None:
    """Where nobody said which side is switched, a dead output stays likely beside the wire."""
    findings = [*SILENT, {"check": "relay-85-ground-voltage", "value": 13.2, "unit": "V"}]
    answer = diagnoser.diagnose({"machine": MACHINE, "findings": findings})
    chances = {one["id"]: one["probability"] for one in answer["causes"]}
    assert chances["pull-output-dead"] > 0.05
