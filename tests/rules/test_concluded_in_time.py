"""No rule asks for what is concluded too late."""

from engine.knowledge import Knowledge
from engine.knowledge.rule_language import ConcludedTest

STAGES = ("qualify", "prove", "conclude")


def concluded_by(knowledge: Knowledge, stage: str) -> set[str]:
    """Return what the rules of a stage and of those before it conclude."""
    return {
        fact
        for name, program in knowledge.programs.items()
        if STAGES.index(knowledge.rules[name].stage) <= STAGES.index(stage)
        for action in program.actions
        if action.kind == "conclude"
        for fact in action.about
    }


def test_conclusions_are_made_in_time(knowledge: Knowledge) -> None:
    """What a rule wants or denies is concluded by a rule of the same stage or an earlier one."""
    early = {stage: concluded_by(knowledge, stage) for stage in STAGES}
    late = {}
    for name, rule in knowledge.rules.items():
        tests = knowledge.programs[name].walk()
        wanted = {one.fact for one in tests if isinstance(one, ConcludedTest)}
        if missing := wanted - early[rule.stage]:
            late[name] = missing
    assert len(knowledge.rules) > 300
    assert late == {}
