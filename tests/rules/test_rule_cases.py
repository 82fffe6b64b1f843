"""Every rule fires where its cases say it must, and stays silent where they say it must.

The cases are data (``tests/cases/rules/RULE-ID.yaml``), so that a technician adds one without
writing Python; ``threewire kb cases`` runs them through the same functions.
"""

from pathlib import Path

import pytest

from api.curation.cases import CaseFiles, RuleCase, RuleFile, read
from engine.diagnosis import Diagnoser
from engine.knowledge import items

Cases = dict[str, tuple[str, bool, RuleCase]]  # rule, whether it must fire, the case


@pytest.fixture(scope="module")
def found(diagnoser: Diagnoser) -> CaseFiles:
    """What the case files hold, read against the shipped base."""
    return read([Path(__file__).parents[1] / "cases" / "rules"], diagnoser.knowledge)


@pytest.fixture(scope="module")
def cases(found: CaseFiles) -> Cases:
    """Every case by its rule and its place in the rule's file."""
    return {
        f"{file.rule}/{place}": (file.rule, must, case)
        for file in found.of(RuleFile).values()
        for place, must, case in file.cases()
    }


def test_every_file_can_be_read(found: CaseFiles) -> None:
    """No case file has a misspelt key, hazard or rule that would keep a rule silent by accident."""
    assert not found.faults


@pytest.mark.parametrize("family", items.FAMILIES)
def test_rules_fire_and_stay_silent_as_their_cases_say(
    family: str, cases: Cases, diagnoser: Diagnoser
) -> None:
    """Each rule of a family fires, or stays silent, as each of its cases says."""
    rules = [name for name, one in diagnoser.knowledge.rules.items() if one.family == family]
    mine = {name: one for name, one in cases.items() if one[0] in rules}
    wrong = {}
    for name, (rule, must, case) in mine.items():
        fired = case.fired(diagnoser)
        if (rule in fired) != must:
            wrong[name] = f"{case.because} fired: {sorted(fired)}"
    assert len(mine) >= 2 * len(rules) > 0
    assert wrong == {}


def test_every_rule_has_cases(found: CaseFiles, diagnoser: Diagnoser) -> None:
    """No rule is without a case file of its name, and no case file without a rule."""
    files = found.of(RuleFile)
    assert set(diagnoser.knowledge.rules) == {Path(name).stem for name in files}
    assert all(Path(name).stem == file.rule for name, file in files.items())


def test_no_case_passes_by_a_slip(cases: Cases, diagnoser: Diagnoser) -> None:
    """A case of a step is one of a caution, and its beliefs are those of causes and sum to 1."""
    for name, (rule, must, case) in cases.items():
        about_steps = rule in diagnoser.cautions.step_rules
        # a caution that always fires can be silent only where a step is asked about
        assert (case.step is not None) == about_steps or not (must or about_steps), name
        beliefs = case.beliefs or {}
        assert set(beliefs) <= set(diagnoser.knowledge.causes), name
        assert sum(beliefs.values()) <= 1, name
