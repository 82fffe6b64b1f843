"""Ranking and safety of an answer."""

import copy

from engine import Diagnoser
from tests.proving import safety
from tests.proving.kits import rank, stands_alone
from tests.proving.simulator import draw_one

CAUSES = [{"id": "a", "group": 1}, {"id": "b", "group": 1}, {"id": "c", "group": 2}]


def test_rank_counts_from_one() -> None:
    """The true cause's place counts from 1, and is 0 when the answer leaves it out."""
    assert [rank(CAUSES, name) for name in ("a", "c", "z")] == [1, 3, 0]


def test_a_lead_in_a_group_does_not_stand_alone() -> None:
    """A lead that shares its group with another is not told apart."""
    assert not stands_alone(CAUSES)
    assert stands_alone([{"id": "a", "group": 1}, {"id": "c", "group": 2}])


def test_a_missing_caution_is_found(diagnoser: Diagnoser) -> None:
    """An answer is safe as shipped, and unsafe once the cautions of a step are taken away."""
    machine = draw_one(1, 3)
    found = [machine.ask(machine.complaint)]
    answer = diagnoser.diagnose({"machine": machine.told, "findings": found, "limit": 0})
    assert safety.faults(answer, machine.told, found) == []
    bare = copy.deepcopy(answer)
    bare["next_checks"][0]["cautions"] = []
    bare["causes"][0]["cautions"] = []
    assert safety.faults(bare, machine.told, found)


def test_a_larger_fuse_is_found(diagnoser: Diagnoser) -> None:
    """A remedy that suggests a larger fuse makes the answer unsafe."""
    machine = draw_one(1, 3)
    found = [machine.ask(machine.complaint)]
    answer = diagnoser.diagnose({"machine": machine.told, "findings": found, "limit": 0})
    answer["causes"][0]["remedy"] += " Fit a larger fuse."
    assert any("larger fuse" in fault for fault in safety.faults(answer, machine.told, found))
