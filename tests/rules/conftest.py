"""What the tests of the rules share: small bases made of data, odd cases, and a plain evaluation.

The plain evaluation does not know experta: it asks of each rule in turn whether its conditions
hold, layer by layer, until nothing more fires.
"""

import random
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from engine.knowledge import Knowledge, items
from engine.knowledge.rule_language import (
    BeliefTest,
    ConcludedTest,
    Condition,
    FindingTest,
    Group,
    MachineTest,
    Program,
    StepTest,
    read_rule,
)
from engine.knowledge.rule_layers import layers
from engine.rules.views import CaseView, FindingView, holds
from tests.physics.conftest import variant

__all__ = ["variant"]

Base = tuple[dict[str, items.Rule], dict[str, Program]]
Raw = tuple[str, list[dict[str, Any]], list[str]]  # family, when, conclusions
MACHINE_VALUES: Mapping[str, tuple[Any, ...]] = {
    "duty": items.DUTIES,
    "control": (*items.CONTROLS, "unknown"),
    "coil": (*items.COILS, "unknown"),
    "system_volts": items.SYSTEM_VOLTS,
    "fuel_actuation": (None, *items.ACTUATIONS),
    "fuse_amps": (None, 15.0, 30.0, 60.0),
    "pull_ohms": (None, 0.4),
    "hold_ohms": (None, 20.0),
    "ambient_celsius": (None, -15.0, 20.0, 45.0),
    "solenoids": (None, 1, 2),
}


@pytest.fixture(scope="session")
def make_base() -> Callable[[Mapping[str, Raw]], Base]:
    """Give a function that reads rules written as ``name: (family, when, conclusions)``."""

    def make(raw: Mapping[str, Raw]) -> Base:
        because = items.Because("Found.", "Points.", "Next.")
        rules, programs = {}, {}
        for name, (family, when, facts) in raw.items():
            then = tuple({"conclude": fact} for fact in facts) or ({"note": True},)
            rules[name] = items.Rule(
                id=name,
                family=family,
                title="Title",
                when=tuple(when),
                then=then,
                because=because,
                source="judgement",
            )
            programs[name], faults = read_rule(rules[name])
            assert not faults, faults
        return rules, programs

    return make


@pytest.fixture(scope="session")
def plain() -> Callable[..., set[str]]:
    """Give the plain evaluation: which rules fire on a view, given earlier conclusions."""

    def evaluate(
        rules: Mapping[str, items.Rule], programs: Mapping[str, Program], view: CaseView,
        given: frozenset[str] = frozenset(),
    ) -> set[str]:  # fmt: skip
        order = layers(rules, programs)
        fired: set[str] = set()
        concluded = given
        for layer in sorted(set(order.values())):
            here = [name for name in rules if order[name] == layer]
            while True:
                new = [
                    name
                    for name in here
                    if name not in fired
                    and all(holds(one, view, concluded) for one in programs[name].conditions)
                ]
                if not new:
                    break
                fired.update(new)
                concluded |= {
                    fact
                    for name in new
                    for action in programs[name].actions
                    if action.kind == "conclude"
                    for fact in action.about
                }
        return fired

    return evaluate


class _ViewMaker:
    """Makes odd cases that come near to what some rules ask for, so that many of them fire."""

    def __init__(self, knowledge: Knowledge, rng: random.Random) -> None:
        self._knowledge, self._rng = knowledge, rng
        self._machine = {name: rng.choice(values) for name, values in MACHINE_VALUES.items()}
        self._findings: list[FindingView] = []
        self._beliefs: dict[str, float] = {}
        self._hazards: set[str] = set()

    def view(self, rule: str) -> CaseView:
        """Return a case that comes near to what a rule and some others ask for."""
        others = self._rng.sample(sorted(self._knowledge.programs), k=self._rng.randint(0, 3))
        for name in [*others, rule]:
            self._please(name, 0)
        for name in self._rng.sample(sorted(self._knowledge.checks), k=self._rng.randint(0, 4)):
            self._find(FindingTest((name,)))
        machine = {name: value for name, value in self._machine.items() if value is not None}
        return CaseView(machine, tuple(self._findings), self._beliefs, frozenset(self._hazards))

    def _please(self, rule: str, depth: int) -> None:
        """Do most of what a rule and those that its conclusions hang on ask for."""
        for test in self._knowledge.programs[rule].conditions:
            if self._rng.random() > 0.05:
                self._meet(test, depth)

    def _meet(self, test: Condition, depth: int) -> None:
        """Make a condition hold, or nearly."""
        if isinstance(test, FindingTest) and not test.absent:
            self._find(test)
        elif isinstance(test, MachineTest):
            self._machine[test.field] = self._field(test)
        elif isinstance(test, BeliefTest):
            step = self._rng.choice((-0.01, 0.0, 0.2))
            self._beliefs[test.cause] = min(test.at_least + step, 1.0)
        elif isinstance(test, StepTest):
            self._hazards.add(test.hazard)
        elif isinstance(test, ConcludedTest) and test.wanted and depth < 4:
            self._please(self._rng.choice(self._makers(test.fact)), depth + 1)
        elif isinstance(test, Group) and test.kind != "none":
            some = test.members if test.kind == "all" else [self._rng.choice(test.members)]
            for member in some:
                self._meet(member, depth)

    def _field(self, test: MachineTest) -> Any:
        if test.values:
            return self._rng.choice(test.values)
        return test.above + 1.0 if test.above is not None else (test.below or 0.0) - 1.0

    def _makers(self, fact: str) -> list[str]:
        return [
            name
            for name, program in self._knowledge.programs.items()
            if any(one.kind == "conclude" and fact in one.about for one in program.actions)
        ]

    def _find(self, test: FindingTest) -> None:
        """Add a finding that meets a test, or nearly."""
        rng, index = self._rng, len(self._findings)
        check = rng.choice(test.checks)
        outcomes = self._knowledge.checks[check].outcomes
        names = test.outcomes or (outcomes.names if outcomes else (None, None, "open", "not-known"))
        outcome = rng.choice(names)
        attributes = {
            one.name: self._attribute(one.relation, one.value)
            for one in test.attributes
            if rng.random() < 0.95
        }
        value = verdict = None
        if outcomes is None and outcome is None:
            value = self._value(test)
            verdict = rng.choice(test.reads or ("good", "low", "high", "cannot-say"))
        elif outcome == "open":
            verdict = "open"
        self._findings.append(
            FindingView(
                index, check, outcome, value, verdict,
                tuple((name, one) for name, one in attributes.items() if one is not None),
            )
        )  # fmt: skip

    def _attribute(self, relation: str, value: Any) -> Any:
        if relation == "missing":
            return None
        if relation == "above":
            return value + 1.0
        return value - 1.0 if relation == "below" else value

    def _value(self, test: FindingTest) -> float:
        volts = float(self._machine["system_volts"])
        shares = (test.above_share, test.below_share)
        above, below = (one * volts if one is not None else None for one in shares)
        above = test.above if above is None else above
        below = test.below if below is None else below
        if above is None and below is None:
            return self._rng.choice((0.0, 0.4, 5.0, 12.0, 25.0))
        if above is None or below is None:
            edge = above if above is not None else (below or 0.0)
            return edge + (1 if above is not None else -1) * self._rng.choice((0.0, 0.01, 1.0))
        return above + self._rng.choice((0.0, 0.5, 1.0)) * (below - above)


@pytest.fixture(scope="session")
def odd_case(knowledge: Knowledge) -> Callable[[int], CaseView]:
    """Give a function that makes the case of a seed; the seeds go through the rules in turn."""
    names = sorted(knowledge.programs)

    def make(seed: int) -> CaseView:
        rng = random.Random(seed)  # noqa: S311 - no secret
        return _ViewMaker(knowledge, rng).view(names[seed % len(names)])

    return make
