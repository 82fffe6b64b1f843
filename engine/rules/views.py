"""What the rules see of a case, and how a condition is tested against it."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from typing import Any, Protocol

from engine.knowledge.rule_language import (
    AttributeTest,
    BeliefTest,
    ConcludedTest,
    Condition,
    FindingTest,
    Group,
    MachineTest,
    StepTest,
)

NOTHING = frozenset[str]()


class Tester(Protocol):
    """Tests a condition of a case, with what rules concluded of it so far."""

    def __call__(self, view: "CaseView", concluded: frozenset[str] = NOTHING, /) -> bool:
        """Return whether it holds."""


@dataclass(frozen=True)
class FindingView:
    """A finding as rules see it; ``verdict`` is that of a reading against a healthy circuit."""

    index: int
    check: str
    outcome: str | None = None
    value: float | None = None
    verdict: str | None = None
    attributes: tuple[tuple[str, Any], ...] = ()

    def attribute(self, name: str) -> Any:
        """Return an attribute, or None when it was not given."""
        return next((value for key, value in self.attributes if key == name), None)


@dataclass(frozen=True, eq=False)  # a value of experta facts: hashed by identity
class CaseView:
    """Machine, findings, and in the conclude stage the beliefs; or, for a step, its hazards."""

    machine: Mapping[str, Any]
    findings: tuple[FindingView, ...] = ()
    beliefs: Mapping[str, float] = field(default_factory=dict)
    hazards: frozenset[str] = frozenset()

    @cached_property
    def by_check(self) -> Mapping[str, tuple[FindingView, ...]]:
        """The findings of each check that has any."""
        found: dict[str, tuple[FindingView, ...]] = {}
        for one in self.findings:
            found[one.check] = (*found.get(one.check, ()), one)
        return found

    def of(self, check: str) -> tuple[FindingView, ...]:
        """Return the findings of one check."""
        return self.by_check.get(check, ())

    def but(self, indexes: Collection[int]) -> "CaseView":
        """Return the case without some findings."""
        return replace(self, findings=tuple(f for f in self.findings if f.index not in indexes))

    def with_beliefs(self, beliefs: Mapping[str, float]) -> "CaseView":
        """Return what the conclude stage sees: the case and the belief in each cause."""
        return replace(self, beliefs=beliefs)


def machine_holds(test: MachineTest, value: Any) -> bool:
    """Return whether a machine field meets a test; a field not stated meets none."""
    if value is None:
        return False
    if test.values is not None and value not in test.values:
        return False
    return _within(value, test.above, test.below)


def _within(value: Any, above: float | None, below: float | None) -> bool:
    if above is None and below is None:
        return True
    if isinstance(value, str) or value is None:
        return False
    return (above is None or value > above) and (below is None or value < below)


def finding_holds(test: FindingTest, finding: FindingView, system_volts: float) -> bool:
    """Return whether one finding meets every part of a test (the check itself apart)."""
    if finding.outcome == "not-known" and test.outcomes != ("not-known",):
        return False
    if test.outcomes is not None and finding.outcome not in test.outcomes:
        return False
    if test.reads is not None and finding.verdict not in test.reads:
        return False
    if not _within(finding.value, test.above, test.below):
        return False
    if test.above_share is not None or test.below_share is not None:
        shares = (
            None if s is None else s * system_volts for s in (test.above_share, test.below_share)
        )
        if not _within(finding.value, *shares):
            return False
    return not test.attributes or all(_attribute_holds(one, finding) for one in test.attributes)


def _attribute_holds(test: AttributeTest, finding: FindingView) -> bool:
    value = finding.attribute(test.name)
    if test.relation in ("missing", "given"):
        return (value is None) == (test.relation == "missing")
    if value is None:
        return False
    if test.relation == "is":
        return test.value in value if isinstance(value, tuple) else bool(value == test.value)
    return _within(
        value,
        test.value if test.relation == "above" else None,
        test.value if test.relation == "below" else None,
    )


def matching(test: FindingTest, view: CaseView) -> list[FindingView]:
    """Return the findings that meet a test, check by check."""
    found = [finding for check in test.checks for finding in view.of(check)]
    if not found:
        return found
    volts = float(view.machine.get("system_volts", 12))
    return [finding for finding in found if finding_holds(test, finding, volts)]


def holds(condition: Condition, view: CaseView, concluded: frozenset[str]) -> bool:
    """Return whether a condition holds."""
    return tester(condition)(view, concluded)


@cache
def tester(condition: Condition) -> Tester:
    """Return what tests a condition: its kind is looked at once, not at each case."""
    match condition:
        case MachineTest(field=name):
            return lambda view, _=NOTHING: machine_holds(condition, view.machine.get(name))
        case FindingTest(checks=checks, absent=absent):  # most cases have none of a check
            return lambda view, _=NOTHING: (
                (not view.by_check.keys().isdisjoint(checks) and bool(matching(condition, view)))
                != absent
            )
        case ConcludedTest(fact=fact, wanted=wanted):
            return lambda _, concluded=NOTHING: (fact in concluded) == wanted
        case BeliefTest(cause=cause, at_least=least):
            return lambda view, _=NOTHING: view.beliefs.get(cause, 0.0) >= least
        case StepTest(hazard=hazard):
            return lambda view, _=NOTHING: hazard in view.hazards
        case Group(kind=kind):
            return _of_several(kind, [tester(member) for member in condition.members])


def _of_several(kind: str, members: Sequence[Tester]) -> Tester:
    if kind == "all":
        return lambda view, concluded=NOTHING: all(one(view, concluded) for one in members)
    wanted = kind == "any"
    return lambda view, concluded=NOTHING: any(one(view, concluded) for one in members) == wanted
