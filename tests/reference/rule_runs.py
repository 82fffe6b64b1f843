"""One case through the engine's rules, and through CLIPS: what fired, what it concluded and hit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import clips

from engine import Diagnoser, Knowledge
from engine.knowledge.items import Rule
from engine.reasoning.conclusions import late_firings
from engine.reasoning.effects import effects_of
from engine.rules.views import CaseView, FindingView
from tests.reference.clips_export import constructs, tag_slot, walk
from tests.reference.rule_facts import Case

CASES_AN_ENVIRONMENT = 500  # reading facts back leaks a few kilobytes a case


@dataclass(frozen=True)
class Outcome:
    """What the rules did: fired, conclusions, and (rule, finding, share kept) of every discount."""

    fired: frozenset[str]
    concluded: frozenset[str]
    discounts: frozenset[tuple[str, int, float]]


def is_about_step(rule: Rule) -> bool:
    """Return whether a rule is asked for each step, not for the case."""
    return any("step" in raw for raw, _ in walk(rule.when))


class Clips:
    """The base in CLIPS, in a new environment now and then."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._rules = knowledge.rules
        self._constructs = constructs(knowledge.rules, knowledge.rows("circumstances"))
        self._used = CASES_AN_ENVIRONMENT

    def _fresh(self) -> None:
        if self._used >= CASES_AN_ENVIRONMENT:
            self._env = clips.Environment()
            for construct in self._constructs:
                self._env.build(construct)
            self._used = 0
        self._used += 1
        self._env.reset()

    def prepare(self) -> None:
        """Build the environment, if one is due."""
        self._fresh()

    def run(self, case: Case) -> Outcome:
        """Run a case. Of several findings of a check a rule hits those that it holds for alone.

        Which those are is found by running the case again with each of them as the only one.
        """
        outcome = self._once(case, range(len(case.findings)), (), ())
        spared = self._spared(case, outcome)
        return self._once(case, range(len(case.findings)), (), spared) if spared else outcome

    def _spared(self, case: Case, outcome: Outcome) -> list[tuple[str, int]]:
        """Return the discounts that do not stand: (rule, finding)."""
        hits: dict[tuple[str, str], set[int]] = {}
        for rule, finding, _ in outcome.discounts:
            check = case.findings[finding]["check"]
            if sum(one["check"] == check for one in case.findings) > 1:
                hits.setdefault((rule, check), set()).add(finding)
        spared = []
        for (rule, check), findings in sorted(hits.items()):
            standing = set()
            for finding in findings:
                kept = [n for n, one in enumerate(case.findings)
                        if n == finding or one["check"] != check]  # fmt: skip
                facts = self._early(outcome)
                if rule in self._once(case, kept, facts, ()).fired:
                    standing.add(finding)
            spared += [(rule, one) for one in findings - standing if standing]
        return spared

    def _early(self, outcome: Outcome) -> list[str]:
        """Return what the rules of the first stage concluded."""
        rules = [self._rules[name] for name in outcome.fired]
        return sorted(
            str(fact)
            for rule in rules
            if rule.family in ("scope", "traps", "context")
            for action in rule.then
            if "conclude" in action
            for fact in ([action["conclude"]] if isinstance(action["conclude"], str)
                         else action["conclude"])
        )  # fmt: skip

    def _once(
        self, case: Case, kept: Iterable[int], facts: Iterable[str],
        spared: Iterable[tuple[str, int]],
    ) -> Outcome:  # fmt: skip
        """Assert a case's facts, run, and read back what came of them."""
        self._fresh()
        for fact in facts:
            self._assert("concluded", fact=fact)
        for rule, finding in spared:
            self._assert("spare", rule=rule, finding=finding)
        for name, value in case.machine.items():
            self._assert("machine", field=name, value=value)
        for number in kept:
            finding = case.findings[number]
            tags = dict.fromkeys(map(tag_slot, finding.get("circumstances", ())), "yes")
            given = {"circumstances": "given"} if tags else {}
            self._assert("finding", **{"index": number, **finding, **given, **tags})
        for cause, level in case.beliefs.items():
            self._assert("belief", cause=cause, level=float(level))
        for hazard in sorted(case.hazards):
            self._assert("step", hazard=hazard)
        self._env.run()
        return Outcome(
            frozenset(str(one["rule"]) for one in self._facts("fired")),
            frozenset(str(one["fact"]) for one in self._facts("concluded")),
            frozenset(
                (str(one["rule"]), int(one["finding"]), float(one["keep"]))
                for one in self._facts("discount")
            ),
        )

    def _assert(self, template: str, **slots: Any) -> None:
        self._env.find_template(template).assert_fact(**{k: _symbol(v) for k, v in slots.items()})

    def _facts(self, template: str) -> Any:
        return self._env.find_template(template).facts()


def _symbol(value: Any) -> Any:
    return clips.Symbol(value) if isinstance(value, str) else value


def view_of(case: Case) -> CaseView:
    """Return a case as the engine's rules see it before any belief."""
    findings = []
    for number, finding in enumerate(case.findings):
        rest = dict(finding)
        check = rest.pop("check")
        named = {key: rest.pop(key, None) for key in ("outcome", "value", "verdict")}
        findings.append(FindingView(number, check, **named, attributes=tuple(rest.items())))
    return CaseView(case.machine, tuple(findings))


def case_of(view: CaseView, beliefs: Mapping[str, float], hazards: set[str]) -> Case:
    """Return what the engine shows its rules as a case, for CLIPS."""
    findings = []
    for one in view.findings:
        named = {"check": one.check, "outcome": one.outcome, "value": one.value,
                 "verdict": one.verdict, **dict(one.attributes)}  # fmt: skip
        findings.append({key: value for key, value in named.items() if value is not None})
    machine = {key: value for key, value in view.machine.items() if value is not None}
    return Case(machine, findings, dict(beliefs), hazards)


class Engine:
    """The engine's own rule sets, run in their two stages."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self._diagnoser = diagnoser
        self._knowledge = diagnoser.knowledge

    def run(self, case: Case) -> tuple[Outcome, list[str]]:
        """Return what came of a case, and the texts of the cautions of its step."""
        view, diagnoser = view_of(case), self._diagnoser
        first = diagnoser.rule_sets["qualify"].run(view)
        effects = effects_of(self._knowledge, view, first)
        late_view = view.with_beliefs(case.beliefs)
        firings = [*first, *late_firings(diagnoser.rule_sets, late_view, first, effects)]
        hit = [(one.rule, one.finding, 0.0) for one in effects.set_aside]
        hit += [(one.rule, one.finding, one.keep) for one in effects.weakened]
        outcome = Outcome(
            frozenset(one.rule for one in firings),
            frozenset(fact for one in firings for fact in one.concluded),
            frozenset(hit),
        )
        return outcome, diagnoser.cautions.for_step(frozenset(case.hazards), late_view)
