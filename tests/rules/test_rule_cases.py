"""Every rule fires where its cases say it must, and stays silent where they say it must.

The cases are data (``tests/cases/rules/RULE-ID.yaml``), so that a technician adds one without
writing Python; ``threewire kb cases`` runs them through the same functions.
"""

from pathlib import Path

import pytest

from api.curation.cases import RuleCase, RuleFile, read
from engine.diagnosis import Diagnoser, shipped

FOUND = read([Path(__file__).parents[1] / "cases" / "rules"], shipped().knowledge)
FILES = FOUND.of(RuleFile)
CASES = {
    f"{file.rule}/{place}": (file.rule, must, case)
    for file in FILES.values()
    for place, must, case in file.cases()
}


def test_every_file_can_be_read() -> None:
    """No case file has a misspelt key, hazard or rule that would keep a rule silent by accident."""
    assert not FOUND.faults


@pytest.mark.parametrize(("rule", "must", "case"), CASES.values(), ids=CASES.keys())
def test_rule_case(rule: str, must: bool, case: RuleCase, diagnoser: Diagnoser) -> None:
    """The rule fires, or stays silent, as its case says."""
    fired = case.fired(diagnoser)
    assert (rule in fired) == must, f"{case.because} fired: {sorted(fired)}"


def test_every_rule_has_cases(diagnoser: Diagnoser) -> None:
    """No rule is without a case file of its name, and no case file without a rule."""
    assert set(diagnoser.knowledge.rules) == {Path(name).stem for name in FILES}
    assert all(Path(name).stem == file.rule for name, file in FILES.items())


@pytest.mark.parametrize(("rule", "must", "case"), CASES.values(), ids=CASES.keys())
def test_no_case_passes_by_a_slip(
    rule: str, must: bool, case: RuleCase, diagnoser: Diagnoser
) -> None:
    """A case of a step is one of a caution, and its beliefs are those of causes and sum to 1."""
    about_steps = rule in diagnoser.cautions.step_rules
    # a caution that always fires can be silent only where a step is asked about
    assert (case.step is not None) == about_steps or not (must or about_steps)
    beliefs = case.beliefs or {}
    assert set(beliefs) <= set(diagnoser.knowledge.causes)
    assert sum(beliefs.values()) <= 1
