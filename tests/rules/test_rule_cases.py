"""Every rule fires where its cases say it must, and stays silent where they say it must.

The cases are data (``tests/cases/rules/RULE-ID.yaml``), so that a technician adds one without
writing Python.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from engine.diagnosis import Diagnoser, shipped
from engine.knowledge import items
from engine.knowledge.text import load_yaml
from engine.reasoning.qualify import case_view, correct, with_beliefs
from engine.reasoning.request import read_request
from engine.rules.cautions import caution_text
from engine.rules.views import CaseView

FILES = sorted((Path(__file__).parents[1] / "cases" / "rules").glob("*.yaml"))
CONTENT: dict[str, dict[str, Any]] = {
    path.stem: load_yaml(path.read_text(encoding="utf-8"), path.name) for path in FILES
}


@dataclass(frozen=True)
class RuleCase:
    """One case: a request, and the rule that must fire on it or must not."""

    rule: str
    fires: bool
    body: Mapping[str, Any]


CASES = {
    f"{stem}/{kind}-{number}": RuleCase(stem, kind == "fires", body)
    for stem, content in CONTENT.items()
    for kind in ("fires", "silent")
    for number, body in enumerate(content.get(kind) or [], start=1)
}


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    """Give the diagnoser of the shipped base."""
    return shipped()


def traced(case: RuleCase, diagnoser: Diagnoser) -> set[str]:
    """Return the rules in the answer's trace, on either side of a machine with two brakes."""
    # neither the number of causes shown nor the proposals matter here, and both cost time
    answer = diagnoser.diagnose({**case.body["request"], "limit": 1, "on_hand": []})
    answers = [answer, *answer.get("sides", {}).values()]
    return {entry["rule"] for one in answers for entry in one["trace"]}


def view_of(request: Mapping[str, Any], diagnoser: Diagnoser) -> CaseView:
    """Return what the rules see of a request."""
    checked = read_request(request, diagnoser.knowledge)
    model = diagnoser.models.get(checked.machine)
    return case_view(checked, [correct(model, one) for one in checked.findings])


def concluded_with(case: RuleCase, diagnoser: Diagnoser) -> set[str]:
    """Return the rules that fire, stage by stage, when the beliefs are those of the case."""
    view = with_beliefs(view_of(case.body["request"], diagnoser), case.body["beliefs"])
    known: frozenset[str] = frozenset()
    fired: set[str] = set()
    for rule_set in diagnoser.rule_sets.values():
        firings = rule_set.run(view, known)
        known |= rule_set.concluded(firings)
        fired |= {one.rule for one in firings}
    return fired


def cautioned(case: RuleCase, diagnoser: Diagnoser) -> set[str]:
    """Return the caution rules of a step with the hazards of the case."""
    view = view_of(case.body["request"], diagnoser)
    texts = diagnoser.cautions.for_step(frozenset(case.body["step"]), view)
    rules = [diagnoser.knowledge.rules[name] for name in diagnoser.cautions.step_rules]
    return {rule.id for rule in rules if caution_text(rule) in texts}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_rule_case(case: RuleCase, diagnoser: Diagnoser) -> None:
    """The rule fires, or stays silent, as its case says."""
    if "step" in case.body:
        found = cautioned(case, diagnoser)
    elif "beliefs" in case.body:
        found = concluded_with(case, diagnoser)
    else:
        found = traced(case, diagnoser)
    assert (case.rule in found) == case.fires, f"{case.body['because']} fired: {sorted(found)}"


def test_every_rule_has_cases(diagnoser: Diagnoser) -> None:
    """No rule is without a case file, and no case file without a rule."""
    assert set(diagnoser.knowledge.rules) == set(CONTENT)


@pytest.mark.parametrize("stem", CONTENT)
def test_case_file_is_whole(stem: str) -> None:
    """A case file names its rule, and has a case where it fires and one where it is silent."""
    content = CONTENT[stem]
    assert set(content) == {"rule", "fires", "silent"}
    assert content["rule"] == stem
    assert content["fires"]
    assert content["silent"]


@pytest.mark.parametrize("stem", CONTENT)
def test_no_case_passes_by_a_slip(stem: str, diagnoser: Diagnoser) -> None:
    """No case has a misspelt key, hazard or cause that would keep a rule silent by accident."""
    about_steps = stem in diagnoser.cautions.step_rules
    for case in (case for case in CASES.values() if case.rule == stem):
        body = case.body
        assert set(body) <= {"because", "request", "step", "beliefs"}
        assert body["because"].strip()
        # a caution that always fires can be silent only where a step is asked about
        assert ("step" in body) == about_steps or not (case.fires or about_steps)
        assert set(body.get("step", [])) <= set(items.HAZARDS)
        assert set(body.get("beliefs", {})) <= set(diagnoser.knowledge.causes)
        assert sum(body.get("beliefs", {}).values()) <= 1
