"""kb/rules compiled to experta: one wide fact for the case, one small fact for each conclusion.

A rule's tests become constraints on fields of the wide fact (one field a machine value, a check, a
belief), its tests of conclusions become patterns of their own. Each rule has its own salience, from
its layer (knowledge.rule_layers) and its place in the order of ids: experta fires rules of equal
salience in a different order in each process.
"""

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from engine.knowledge import Knowledge
from engine.knowledge.items import Rule
from engine.knowledge.rule_language import (
    BeliefTest,
    ConcludedTest,
    Condition,
    FindingTest,
    Group,
    MachineTest,
    Program,
)
from engine.knowledge.rule_layers import layers
from engine.rules import experta_engine
from engine.rules.experta_engine import experta
from engine.rules.views import CaseView, machine_holds, matching, tester

RULES_A_LAYER = 100_000
STAGES = ("qualify", "prove", "conclude")
WHOLE = "whole"  # the field for tests of more than one subject
MAX_FIRINGS = 20_000  # no base of this kind comes near; a loop in a base must end


class CaseFact(experta.Fact):  # type: ignore[misc]
    """The wide fact: everything stated about the case. Its values are frozen as they are."""

    def update(self, fields: Mapping[str, Any]) -> None:
        """Take fields as they are; the stock one freezes each, whatever it is."""
        dict.update(self, fields)

    def items(self) -> Any:
        """Return what tells a declared one from another, the case itself; of a pattern all."""
        view = self.get(WHOLE)
        return [(WHOLE, view)] if isinstance(view, CaseView) else super().items()

    def has_field_constraints(self) -> bool:
        """Return that what is declared is no pattern; the stock one looks at each value."""
        return False

    def has_nested_accessor(self) -> bool:
        """Return that names are plain; the stock one looks at each."""
        return False


class Concluded(experta.Fact):  # type: ignore[misc]
    """Something that a rule concluded."""


@cache
def _name(kind: str, identifier: str) -> str:
    return f"{kind}_{identifier.replace('-', '_')}"


def _field(test: Condition) -> str:
    """Return the field of the wide fact that a test looks at, one a subject.

    Each holds the whole case: what differs is which rules ask it.
    """
    match test:
        case MachineTest():
            return _name("m", test.field)
        case FindingTest() if len(test.checks) == 1:
            return _name("f", test.checks[0])
        case BeliefTest():
            return _name("b", test.cause)
    return WHOLE


@cache
def _predicate(tests: tuple[Condition, ...]) -> Any:
    """Return one constraint for tests of the same field.

    Cached, so that rules which ask the same thing share one node of the network.
    """
    asked = [tester(test) for test in tests]
    return experta.P(asked[0] if len(asked) == 1 else lambda view: all(one(view) for one in asked))


def _mentions_conclusion(test: Condition) -> bool:
    if isinstance(test, Group):
        return any(_mentions_conclusion(member) for member in test.members)
    return isinstance(test, ConcludedTest)


def _pattern(test: Condition) -> Any:
    """Return the experta pattern of one test."""
    if isinstance(test, ConcludedTest):
        fact = Concluded(fact=test.fact)
        return fact if test.wanted else experta.NOT(fact)
    if isinstance(test, Group) and _mentions_conclusion(test):
        inner = [_pattern(member) for member in test.members]
        if test.kind == "none":
            return experta.AND(*(experta.NOT(one) for one in inner))
        return (experta.OR if test.kind == "any" else experta.AND)(*inner)
    return CaseFact(**_fields((test,)))


def _fields(tests: Sequence[Condition]) -> dict[str, Any]:
    """Return the constraints of the wide fact that stand for tests without conclusions.

    A test that wants a finding also asks, in a field of its own, whether there is any finding of
    that check: most rules end there, and they share that node.
    """
    by_field: dict[str, list[Condition]] = {}
    for test in tests:
        by_field.setdefault(_field(test), []).append(test)
    return {name: _predicate(tuple(same)) for name, same in by_field.items()} | {
        _name("g", test.checks[0]): True
        for test in tests
        if isinstance(test, FindingTest) and not test.absent and len(test.checks) == 1
    }


@dataclass(frozen=True)
class Firing:
    """A rule that fired, the findings and conclusions it rests on, and what it concluded."""

    rule: str
    findings: tuple[int, ...]
    facts: tuple[str, ...]
    concluded: tuple[str, ...] = ()


class RuleSet:
    """The rules of one stage. Its engine is built once, at the first case, and reset for each.

    Threads take turns with it: its work is plain Python, so that one more engine for each thread
    would cost a second at its first case and save nothing.
    """

    def __init__(self, rules: Mapping[str, Rule], programs: Mapping[str, Program]) -> None:
        self._programs, self._order = programs, layers(rules, programs)
        self._ranked = sorted(rules, key=lambda name: (self._order[name], name))
        self._rank = {name: place for place, name in enumerate(self._ranked)}
        tests = dict.fromkeys(test for name in rules for test in programs[name].walk())
        self._fields = {WHOLE, *map(_field, tests)}
        self._machine_tests = [one for one in tests if isinstance(one, MachineTest)]
        self._turn = threading.Lock()

    @property
    def names(self) -> Sequence[str]:
        """Return the ids of the rules."""
        return self._ranked

    def machine_alike(self, view: CaseView) -> tuple[bool, ...]:
        """Return which tests of the machine hold: two machines alike in all fire the same rules."""
        return tuple(
            machine_holds(test, view.machine.get(test.field)) for test in self._machine_tests
        )

    def run(self, view: CaseView, given: frozenset[str] = frozenset()) -> list[Firing]:
        """Return the rules that fire on a case, in their fixed order.

        ``given`` are conclusions of an earlier stage.
        """
        fired = self._fired(view, given)
        made = {fact for name in fired for fact in self._programs[name].concludes} | given
        return [
            _firing(name, self._programs[name], view, made)
            for name in sorted(fired, key=self._rank.__getitem__)
        ]

    def _fired(self, view: CaseView, given: frozenset[str]) -> set[str]:
        facts = [Concluded(fact=fact) for fact in sorted(given)]
        found = dict.fromkeys((_name("g", check) for check in view.by_check), True)
        facts.append(CaseFact(**dict.fromkeys(self._fields, view), **found))
        with self._turn:
            engine = self._engine
            engine.fired = set()
            engine.reset()
            engine.declare(*facts)
            engine.run(MAX_FIRINGS)
            fired: set[str] = engine.fired
        return fired

    @cached_property
    def _engine(self) -> Any:
        body: dict[str, Any] = {"fired": None}
        for name in self._ranked:
            body[_name("rule", name)] = self._make_rule(name)
        return type("CompiledRules", (experta_engine.QuickEngine,), body)()

    def _make_rule(self, name: str) -> Any:
        facts, tests = self._programs[name].concludes, self._programs[name].conditions
        wide = [test for test in tests if not _mentions_conclusion(test)]
        rest = [_pattern(test) for test in tests if _mentions_conclusion(test)]

        def fire(engine: Any) -> None:
            if name in engine.fired:  # an OR fires once for each true branch
                return
            engine.fired.add(name)
            for fact in facts:
                engine.declare(Concluded(fact=fact))

        fire.__name__ = _name("rule", name)
        salience = -(self._order[name] * RULES_A_LAYER + self._rank[name])
        # tests of the case in one wide pattern, first: NOT must come after one that is there
        return experta.Rule(CaseFact(**_fields(wide)), *rest, salience=salience)(fire)


def _firing(name: str, program: Program, view: CaseView, made: set[str]) -> Firing:
    """Return a rule that fired with the findings and conclusions that its positive tests met."""
    findings: set[int] = set()
    facts: dict[str, None] = {}
    for test in program.walk():
        if isinstance(test, FindingTest) and not test.absent:
            findings.update(one.index for one in matching(test, view))
        elif isinstance(test, ConcludedTest) and test.wanted and test.fact in made:
            facts[test.fact] = None
    return Firing(name, tuple(sorted(findings)), tuple(facts), program.concludes)


def concluded(firings: Iterable[Firing]) -> frozenset[str]:
    """Return what the rules that fired conclude."""
    return frozenset(fact for one in firings for fact in one.concluded)


def rule_sets(knowledge: Knowledge, left_out: frozenset[str]) -> dict[str, RuleSet]:
    """Return the rules of each stage, compiled; ``left_out`` are rules about steps."""
    chosen = {name: rule for name, rule in knowledge.rules.items() if name not in left_out}
    return {
        stage: RuleSet(
            {name: rule for name, rule in chosen.items() if rule.stage == stage},
            knowledge.programs,
        )
        for stage in STAGES
    }
