"""What each result of a check would mean is what a diagnosis with that result says."""

from itertools import pairwise
from typing import Any

import pytest

from engine import Diagnoser
from engine.reasoning.belief import LEAST_WEIGHT
from engine.reasoning.request import read_request

MACHINE = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
FINDINGS: list[dict[str, Any]] = [{"check": "pull-pin-voltage", "value": 7.4, "unit": "V"}]


def test_meanings_are_the_next_diagnosis(diagnoser: Diagnoser) -> None:
    """The leaders after an outcome of a check that no rule reads are those that a diagnosis with
    the outcome puts first, with the same probabilities; the chances sum to 1."""
    request = read_request({"machine": MACHINE, "findings": FINDINGS}, diagnoser.knowledge)
    belief = diagnoser.answer(request).belief
    assert belief is not None
    found = diagnoser.meanings(belief, "ground-jumper")
    assert sum(one.chance for one in found) == pytest.approx(1.0, abs=1e-5)
    for one in found:
        answer = diagnoser.diagnose({
            "machine": MACHINE, "on_hand": [],
            "findings": [*FINDINGS, {"check": "ground-jumper", "outcome": one.outcome}],
        })  # fmt: skip
        told = {row["id"]: row["probability"] for row in answer["causes"]}
        for leader in one.leaders:
            assert told[leader.cause] == pytest.approx(leader.probability, abs=LEAST_WEIGHT)


def test_stretches_of_readings_lie_side_by_side(diagnoser: Diagnoser) -> None:
    """A reading's stretches cover the scale without a gap, and neighbours differ in the leader."""
    request = read_request({"machine": MACHINE, "findings": FINDINGS}, diagnoser.knowledge)
    belief = diagnoser.answer(request).belief
    assert belief is not None
    found = [one for one in diagnoser.meanings(belief, "ground-side-voltage") if one.range]
    bands = [one.range for one in found if one.range is not None]
    assert len(bands) > 1
    assert bands[-1].high is None
    for (first, second), (one, other) in zip(pairwise(bands), pairwise(found), strict=True):
        assert first.high == second.low
        assert one.leaders[0].cause != other.leaders[0].cause


def test_a_check_that_the_machine_lacks_has_no_meanings(diagnoser: Diagnoser) -> None:
    """A check of another circuit is refused."""
    belief = diagnoser.answer(read_request({"machine": MACHINE}, diagnoser.knowledge)).belief
    assert belief is not None
    with pytest.raises(KeyError):
        diagnoser.meanings(belief, "release-signal-voltage")
