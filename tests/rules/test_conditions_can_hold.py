"""No rule asks for what the request gate refuses, or for what is concluded too late."""

import pytest

from engine.audit.conditions import impossible_faults
from engine.knowledge import load_knowledge
from engine.knowledge.rule_language import ConcludedTest

KNOWLEDGE = load_knowledge()


def test_every_condition_can_hold() -> None:
    """Each condition of each rule holds for something that a request can state of its machines."""
    assert impossible_faults(KNOWLEDGE) == []


@pytest.mark.parametrize("rule", KNOWLEDGE.rules)
def test_conclusions_are_made_in_time(rule: str) -> None:
    """What a rule wants or denies is concluded by a rule of the same stage or an earlier one."""
    stages = ("qualify", "prove", "conclude")
    place = stages.index(KNOWLEDGE.rules[rule].stage)
    early = {
        fact
        for name, program in KNOWLEDGE.programs.items()
        if stages.index(KNOWLEDGE.rules[name].stage) <= place
        for action in program.actions
        if action.kind == "conclude"
        for fact in action.about
    }
    tests = KNOWLEDGE.programs[rule].walk()
    assert {one.fact for one in tests if isinstance(one, ConcludedTest)} <= early
