"""What rules and repairs do to a case before it is weighed.

The qualify rules discount findings, shift or drop causes and bound the scope. A repair made between
findings can have changed the older ones: these no longer count.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from engine.knowledge import Knowledge
from engine.knowledge.rule_language import FindingTest, Program
from engine.physics.circuit import Floats
from engine.physics.model import HEALTHY, Model
from engine.reasoning.observe import Observation
from engine.reasoning.request import NOT_KNOWN, Done, Finding, Request
from engine.rules.compile import Firing, concluded
from engine.rules.views import CaseView, FindingView, holds, matching

CHANGED_FROM = 0.1  # total variation between the results with the fault and without it; judgement
KNOWN = {"known": True}  # a field that an answer leaves out where it is None


@dataclass(frozen=True)
class Discount:
    """A finding that a rule lets count in part (``keep``), or not at all (None), and why."""

    finding: int
    rule: str
    because: str
    instead: str
    keep: float | None = field(default=None, metadata=KNOWN)


@dataclass(frozen=True)
class Superseded:
    """A finding from before a repair that can have changed it, and why it no longer counts."""

    finding: int
    done: str
    because: str


@dataclass(frozen=True)
class Effects:
    """What the qualify rules do to the case, in the fixed order of the rules."""

    discounts: tuple[Discount, ...] = ()
    shifts: Mapping[str, float] = field(default_factory=dict)  # cause -> factor on its prior
    shifted_by: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # cause -> rules
    at_times: float = 0.0  # odds that it comes and goes, times this; 0 where nobody said so
    provoke: str | None = None  # what brings it on, where it comes and goes
    dropped_causes: tuple[str, ...] = ()
    dropped_checks: tuple[str, ...] = ()
    out_of_scope: str | None = None
    superseded: tuple[Superseded, ...] = ()

    @property
    def set_aside(self) -> tuple[Discount, ...]:
        """Return the findings that do not count."""
        return tuple(entry for entry in self.discounts if entry.keep is None)

    @property
    def weakened(self) -> tuple[Discount, ...]:
        """Return the findings that count in part."""
        return tuple(entry for entry in self.discounts if entry.keep is not None)

    @cached_property
    def shares(self) -> dict[int, float]:
        """Return how much counts of each finding that some rule discounts, the least of any."""
        found: dict[int, float] = {}
        for entry in self.discounts:
            found[entry.finding] = min(entry.keep or 0.0, found.get(entry.finding, 1.0))
        return found | {entry.finding: 0.0 for entry in self.superseded}

    def after(self, request: Request, older: tuple[Superseded, ...]) -> "Effects":
        """Return the effects when causes were put right, and findings from before it are dropped.

        Where some were put right and the complaint is unchanged, the machine is not good.
        """
        ended = [*request.excluded, HEALTHY] if request.excluded else []
        ended += [cause for act in request.done for cause in act.causes]
        return replace(self, dropped_causes=(*self.dropped_causes, *ended), superseded=older)


def effects_of(knowledge: Knowledge, view: CaseView, firings: Sequence[Firing]) -> Effects:
    """Collect what the rules that fired do, in their fixed order."""
    facts = concluded(firings)
    discounts: list[Discount] = []
    shifts: dict[str, float] = {}
    shifted_by: dict[str, tuple[str, ...]] = {}
    dropped: dict[str, list[str]] = {"drop_causes": [], "drop_checks": []}
    out_of_scope, at_times, provoke = None, 0.0, None
    for firing in firings:
        rule, program = knowledge.rules[firing.rule], knowledge.programs[firing.rule]
        because = rule.because.why
        for action in program.actions:
            if action.kind in ("set_aside", "weaken"):
                keep = None if action.kind == "set_aside" else action.keep
                discounts += [
                    Discount(index, rule.id, because, rule.because.next, keep)
                    for index in _targets(program, action.about, view, facts)
                ]
            elif action.kind == "shift":
                weighed = _weighed_by_tables(knowledge, view, firings, firing)
                for cause, factor in action.factors:
                    if cause not in weighed:
                        shifts[cause] = shifts.get(cause, 1.0) * factor
                        shifted_by[cause] = (*shifted_by.get(cause, ()), rule.id)
            elif action.kind == "at_times":
                at_times = (at_times or 1.0) * action.factor
                provoke = action.while_ or provoke
            elif action.kind in dropped:
                dropped[action.kind] += action.about
            elif action.kind == "out_of_scope":
                out_of_scope = f"{because} {rule.because.next}"
    return Effects(
        tuple(discounts), shifts, shifted_by, at_times, provoke, tuple(dropped["drop_causes"]),
        tuple(dropped["drop_checks"]), out_of_scope,
    )  # fmt: skip


def findings_behind(firings: Sequence[Firing], firing: Firing) -> list[int]:
    """Return the findings that a firing rests on, through other rules' conclusions too."""
    found, seen, todo = set(firing.findings), {firing.rule}, list(firing.facts)
    while todo:
        fact = todo.pop()
        for other in firings:
            if fact in other.concluded and other.rule not in seen:
                seen.add(other.rule)
                found.update(other.findings)
                todo += other.facts
    return sorted(found)


def _weighed_by_tables(
    knowledge: Knowledge, view: CaseView, firings: Sequence[Firing], firing: Firing
) -> set[str]:
    """Return the causes that the tables of the findings behind a firing weigh already.

    A finding speaks once: shifting those causes as well would count it twice.
    """
    behind = set(findings_behind(firings, firing))
    checks = {one.check for one in view.findings if one.index in behind}
    tables = [knowledge.checks[name].outcomes for name in checks]
    return {row.split("/")[0] for table in tables if table is not None for row in table.given}


def _targets(
    program: Program, checks: Sequence[str], view: CaseView, concluded: frozenset[str]
) -> list[int]:
    """Return the findings that an action on checks hits.

    Those that the rule's own tests of these checks matched; all of a check that the rule does not
    test (it then speaks of a finding because of something else). Of several findings of one check
    only those are hit for which the rule holds without the others, if there are such.
    """
    hit: list[int] = []
    for check in checks:
        tests = [
            test
            for test in program.walk()
            if isinstance(test, FindingTest) and check in test.checks and not test.absent
        ]
        found = (
            {one for test in tests for one in matching(test, view) if one.check == check}
            if tests
            else set(view.of(check))
        )
        alone = {one for one in found if _holds_alone(program, one, view, concluded)}
        hit += [one.index for one in alone or found]
    return sorted(set(hit))


def _holds_alone(
    program: Program, finding: FindingView, view: CaseView, concluded: frozenset[str]
) -> bool:
    """Return whether a rule holds when a finding is the only one of its check."""
    if len(view.of(finding.check)) == 1:
        return True
    kept = tuple(one for one in view.findings if one.check != finding.check or one is finding)
    narrowed = replace(view, findings=kept)
    return all(holds(test, narrowed, concluded) for test in program.conditions)


def shares_of(effects: Effects, findings: Sequence[Finding]) -> tuple[float, ...]:
    """Return how much of each finding counts."""
    shares = effects.shares
    return tuple(
        0.0 if finding.outcome == NOT_KNOWN else shares.get(finding.index, 1.0)
        for finding in findings
    )


def superseded(
    model: Model, observations: Sequence[Observation], done: Sequence[Done]
) -> tuple[Superseded, ...]:
    """Return the findings that a later repair can have changed, in the order of the findings."""
    found = []
    for one in observations:
        index = one.finding.index
        later = next(
            (act for act in done if index <= act.after and _changes(model, one, act.causes)), None
        )
        if later is not None:
            because = (
                f"It was found before this was put right: {later.words}. "
                "That can have changed it, so it no longer counts."
            )
            found.append(Superseded(index, later.words, because))
    return tuple(found)


def _changes(model: Model, observation: Observation, causes: Sequence[str]) -> bool:
    """Return whether the finding is predicted otherwise with one of the faults than without."""
    bins = observation.prediction.bins
    good = _good(model, bins)
    return any(
        np.abs(bins[n] - good[model.variant_of[n]]).sum() / 2 > CHANGED_FROM
        for cause in causes if cause in model.causes
        for n in np.flatnonzero(model.cause_of == model.causes.index(cause))
    )  # fmt: skip


def _good(model: Model, bins: Floats) -> Floats:
    """Return what the healthy circuit gives on each variant, shape (variant, result)."""
    healthy = model.cause_of == model.causes.index(HEALTHY)
    rows = []
    for variant in range(len(model.variants)):
        weights = model.prior * (healthy & (model.variant_of == variant))
        rows.append(weights @ bins / max(float(weights.sum()), 1e-300))
    return np.stack(rows)
