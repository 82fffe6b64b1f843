"""Runs worked cases and rule cases: which fail, and which rules never fired."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from engine import Diagnoser, KnowledgeError, RequestError
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.knowledge.text import load_yaml
from engine.reasoning.qualify import case_view, correct, with_beliefs
from engine.reasoning.request import read_request
from engine.rules.cautions import caution_text
from engine.rules.views import CaseView

LEAST_SHARE_OF_FIRST = 0.5  # an expected cause may share the lead's group at half its probability
RULE_KEYS = ("rule", "fires", "silent")
CASE_KEYS = ("because", "request", "step", "beliefs")


@dataclass
class Outcome:
    """What came of running cases."""

    cases: int = 0
    failures: list[str] = field(default_factory=list)
    fired: set[str] = field(default_factory=set)
    with_cases: set[str] = field(default_factory=set)


def shipped_folder() -> Path | None:
    """Return the cases beside a checkout, or None where there are none."""
    folder = Path(__file__).parents[2] / "tests" / "cases"
    return folder if folder.is_dir() else None


def run(diagnoser: Diagnoser, folders: Iterable[Path]) -> Outcome:
    """Run every case file below the folders, in order of name."""
    outcome = Outcome()
    for folder in folders:
        for file in sorted(folder.rglob("*.yaml")):
            _run_file(diagnoser, file, file.relative_to(folder).as_posix(), outcome)
    return outcome


def _run_file(diagnoser: Diagnoser, file: Path, name: str, outcome: Outcome) -> None:
    try:
        content = load_yaml(file.read_text(encoding="utf-8"), name)
    except KnowledgeError as error:
        outcome.failures += [str(fault) for fault in error.faults]
        return
    except (UnicodeDecodeError, OSError):
        outcome.failures.append(f"{name}: cannot be read as UTF-8 text")
        return
    wrong = shape_faults(content, diagnoser)
    if wrong:
        outcome.failures += [f"{name}: {one}" for one in wrong]
    elif "rule" in content:
        _run_rule(diagnoser, name, content, outcome)
    else:
        _run_worked(diagnoser, name, content, outcome)


def shape_faults(content: object, diagnoser: Diagnoser) -> list[str]:
    """Return what keeps a file from being a rule case or a worked case."""
    if not isinstance(content, dict):
        return ["must be a mapping of keys to values"]
    if "rule" in content:
        return _rule_shape(content, diagnoser)
    lead = content.get("expect")
    if not isinstance(lead, dict) or not isinstance(content.get("request"), dict):
        return ["has neither rule, fires and silent nor request and expect"]
    known = diagnoser.knowledge.causes
    wanted = lead.get("lead")
    return [] if wanted in known else [f"expect.lead: {unknown('cause', wanted, known)}"]


def _rule_shape(content: Mapping[str, Any], diagnoser: Diagnoser) -> list[str]:
    rules = diagnoser.knowledge.rules
    wrong = [unknown("key", key, RULE_KEYS) for key in content if key not in RULE_KEYS]
    if content["rule"] not in rules:
        wrong.append(f"rule: {unknown('rule', content['rule'], rules)}")
    for kind in ("fires", "silent"):
        cases = content.get(kind)
        if not isinstance(cases, list) or not cases:
            wrong.append(f"{kind}: must be a list with a case in it")
            continue
        for number, case in enumerate(cases):
            wrong += [f"{kind}[{number}]: {one}" for one in _case_shape(case)]
    return wrong


def _case_shape(case: object) -> list[str]:
    if not isinstance(case, dict) or not isinstance(case.get("request"), dict):
        return ["must be a mapping with because and request"]
    wrong = [unknown("key", key, CASE_KEYS) for key in case if key not in CASE_KEYS]
    hazards = case.get("step", [])
    if not isinstance(hazards, list) or not isinstance(case.get("beliefs", {}), dict):
        return [*wrong, "step is a list of hazards, beliefs map causes to probabilities"]
    return wrong + [
        unknown("hazard", hazard, items.HAZARDS)
        for hazard in hazards
        if hazard not in items.HAZARDS
    ]


def _run_rule(
    diagnoser: Diagnoser, name: str, content: Mapping[str, Any], outcome: Outcome
) -> None:
    rule = str(content["rule"])
    outcome.with_cases.add(rule)
    for kind in ("fires", "silent"):
        for number, case in enumerate(content[kind]):
            outcome.cases += 1
            try:
                found = fired(diagnoser, case)
            except RequestError as error:
                outcome.failures += [f"{name}: {kind}[{number}].request: {f}" for f in error.faults]
                continue
            outcome.fired |= found
            if (rule in found) != (kind == "fires"):
                said = "stayed silent" if kind == "fires" else "fired"
                outcome.failures.append(f"{name}: {kind}[{number}]: the rule {said}")


def fired(diagnoser: Diagnoser, case: Mapping[str, Any]) -> set[str]:
    """Return the rules that fire on a case. Raises RequestError for a bad request."""
    if "step" in case:
        return _cautioned(diagnoser, case)
    if "beliefs" in case:
        return _with_beliefs(diagnoser, case)
    return traced(diagnoser.diagnose({**case["request"], "limit": 1, "on_hand": []}))


def traced(answer: Mapping[str, Any]) -> set[str]:
    """Return the rules in an answer's trace, on either side of a machine with two brakes."""
    answers = [answer, *answer.get("sides", {}).values()]
    return {str(entry["rule"]) for one in answers for entry in one["trace"]}


def _view(diagnoser: Diagnoser, request: Mapping[str, Any]) -> CaseView:
    """Return what the rules see of a request."""
    checked = read_request(request, diagnoser.knowledge)
    model = diagnoser.models.get(checked.machine)
    return case_view(checked, [correct(model, one) for one in checked.findings])


def _with_beliefs(diagnoser: Diagnoser, case: Mapping[str, Any]) -> set[str]:
    """Return the rules that fire, stage by stage, when the beliefs are those of the case."""
    view = with_beliefs(_view(diagnoser, case["request"]), case["beliefs"])
    known: frozenset[str] = frozenset()
    found: set[str] = set()
    for rules in diagnoser.rule_sets.values():
        firings = rules.run(view, known)
        known |= rules.concluded(firings)
        found |= {one.rule for one in firings}
    return found


def _cautioned(diagnoser: Diagnoser, case: Mapping[str, Any]) -> set[str]:
    """Return the caution rules of a step with the hazards of the case."""
    texts = diagnoser.cautions.for_step(frozenset(case["step"]), _view(diagnoser, case["request"]))
    rules = [diagnoser.knowledge.rules[name] for name in diagnoser.cautions.step_rules]
    return {rule.id for rule in rules if caution_text(rule) in texts}


def _run_worked(
    diagnoser: Diagnoser, name: str, content: Mapping[str, Any], outcome: Outcome
) -> None:
    outcome.cases += 1
    wanted = content["expect"]["lead"]
    try:
        answer = diagnoser.diagnose(content["request"])
    except RequestError as error:
        outcome.failures += [f"{name}: request: {fault}" for fault in error.faults]
        return
    outcome.fired |= traced(answer)
    if not leads(answer["causes"], wanted):
        first = answer["causes"][0]
        outcome.failures.append(
            f"{name}: expect.lead: '{wanted}' does not lead; '{first['id']}' does with "
            f"{first['probability']:.2f}"
        )


def leads(causes: Sequence[Mapping[str, Any]], wanted: str) -> bool:
    """Return whether a cause is first, or in the first's group at half its probability or more."""
    first = causes[0]
    found = next((one for one in causes if one["id"] == wanted), None)
    if found is None or found is first:
        return found is not None
    near = found["probability"] >= LEAST_SHARE_OF_FIRST * first["probability"]
    return bool(near and found["group"] == first["group"])
