"""kb/rules compiled to experta: one wide fact for the case, one small fact for each conclusion.

A rule's tests become constraints on fields of the wide fact (one field a machine value, a check, a
belief), its tests of conclusions become patterns of their own. Each rule has its own salience, from
its layer (knowledge.rule_layers) and its place in the order of ids: experta fires rules of equal
salience in a different order in each process.
"""

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
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
from engine.rules import experta_engine as experta
from engine.rules.views import CaseView, finding_holds, machine_holds, matching, tester

RULES_A_LAYER = 100_000
STAGES = ("qualify", "prove", "conclude")
MAX_FIRINGS = 20_000  # no base of this kind comes near; a loop in a base must end


class CaseFact(experta.Fact):  # type: ignore[misc]
    """The wide fact: everything stated about the case. Its values are frozen as they are."""

    def update(self, fields: Mapping[str, Any]) -> None:
        """Take fields as they are; the stock one freezes each, whatever it is."""
        dict.update(self, fields)

    def items(self) -> Any:
        """Return what tells a declared one from another, the case itself; of a pattern all."""
        view = self.get("whole0")
        return [("whole0", view)] if isinstance(view, CaseView) else super().items()

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


def _constraint(test: Condition) -> str | None:
    """Return the field that a test looks at; None for anything wider."""
    match test:
        case MachineTest():
            return _name("m", test.field)
        case FindingTest() if len(test.checks) == 1:
            return _name("f", test.checks[0])
        case BeliefTest():
            return _name("b", test.cause)
    return None


@cache
def _predicate(tests: tuple[Condition, ...]) -> Any:
    """Return one constraint for tests of the same field.

    Cached, so that rules which ask the same thing share one node of the network.
    """
    asked = [_of_field(test) for test in tests]
    only = asked[0] if len(asked) == 1 else lambda value: all(one(value) for one in asked)
    return experta.P(only)


def _of_field(test: Condition) -> Callable[[Any], bool]:
    """Return what tests the value of a test's own field."""
    match test:
        case MachineTest():
            return lambda value: machine_holds(test, value)
        case FindingTest(absent=True):
            return lambda value: not any(finding_holds(test, one, value[0]) for one in value[1])
        case FindingTest():
            return lambda value: any(finding_holds(test, one, value[0]) for one in value[1])
        case BeliefTest(at_least=least):
            return lambda value: bool(value >= least)
    raise TypeError(f"{test} is not about one field")


@cache
def _whole(test: Condition) -> Any:
    """Return a constraint on the case as a whole."""
    nothing: frozenset[str] = frozenset()
    holds = tester(test)
    return experta.P(lambda view: holds(view, nothing))


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
    found: dict[str, Any] = {}
    for number, test in enumerate(tests):
        name = _constraint(test)
        if name is None:
            found[f"whole{number}"] = _whole(test)
            continue
        by_field.setdefault(name, []).append(test)
        if isinstance(test, FindingTest) and not test.absent:
            found[_name("g", test.checks[0])] = True
    return found | {name: _predicate(tuple(same)) for name, same in by_field.items()}


def _patterns(program: Program) -> list[Any]:
    """Return a rule's patterns: tests of the case in one wide pattern, conclusions one by one."""
    wide = [test for test in program.conditions if not _mentions_conclusion(test)]
    rest = [_pattern(test) for test in program.conditions if _mentions_conclusion(test)]
    # NOT must come after a pattern that is there: the case always is
    return [CaseFact(**_fields(wide)), *rest]


@dataclass(frozen=True)
class Firing:
    """A rule that fired: the findings (indexes) and conclusions it rests on."""

    rule: str
    findings: tuple[int, ...]
    facts: tuple[str, ...]


class RuleSet:
    """The rules of one stage. Its engine is built once, at the first case, and reset for each.

    Threads take turns with it: its work is plain Python, so that one more engine for each thread
    would cost a second at its first case and save nothing.
    """

    def __init__(self, rules: Mapping[str, Rule], programs: Mapping[str, Program]) -> None:
        order = layers(rules, programs)
        self._programs = programs
        self._ranked = sorted(rules, key=lambda name: (order[name], name))
        self._order = order
        self._rank = {name: place for place, name in enumerate(self._ranked)}
        self._concludes = {name: concluded_by(programs[name]) for name in rules}
        self._fields = _fields_used(programs[name] for name in rules)
        self._unfound: dict[str, Any] = {field: (0.0, ()) for field, _ in self._fields["f"]}
        self._unfound |= {_name("g", check): False for _, check in self._fields["f"]}
        tests = (test for name in rules for test in programs[name].walk())
        self._machine_tests = [one for one in dict.fromkeys(tests) if isinstance(one, MachineTest)]
        widest = max((len(programs[name].conditions) for name in rules), default=1)
        self._whole = [f"whole{number}" for number in range(widest)]
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
        concluded = {f for name in fired for f in self._concludes[name]} | given
        return [
            self._firing(name, view, frozenset(concluded))
            for name in sorted(fired, key=self._rank.__getitem__)
        ]

    def _fired(self, view: CaseView, given: frozenset[str]) -> set[str]:
        facts = [Concluded(fact=fact) for fact in sorted(given)]
        facts.append(CaseFact(**self._values(view)))
        with self._turn:
            engine = self._engine
            engine.fired = set()
            engine.reset()
            engine.declare(*facts)
            engine.run(MAX_FIRINGS)
            fired: set[str] = engine.fired
        return fired

    def concluded(self, firings: Sequence[Firing]) -> frozenset[str]:
        """Return what the rules that fired conclude."""
        return frozenset(fact for one in firings for fact in self._concludes[one.rule])

    def _firing(self, name: str, view: CaseView, concluded: frozenset[str]) -> Firing:
        program = self._programs[name]
        findings = set(matched_findings(program, view))
        facts = [
            test.fact
            for test in program.walk()
            if isinstance(test, ConcludedTest) and test.wanted and test.fact in concluded
        ]
        return Firing(name, tuple(sorted(findings)), tuple(dict.fromkeys(facts)))

    def _values(self, view: CaseView) -> dict[str, Any]:
        """Return the wide fact's fields: only those that some rule looks at."""
        volts = float(view.machine.get("system_volts", 12))
        values = {**self._unfound, **dict.fromkeys(self._whole, view)}
        for field, name in self._fields["m"]:
            values[field] = view.machine.get(name)
        for field, name in self._fields["b"]:
            values[field] = view.beliefs.get(name, 0.0)
        for check, found in view.by_check.items():
            if _name("f", check) in self._unfound:
                values[_name("f", check)] = (volts, found)
                values[_name("g", check)] = True
        return values

    @cached_property
    def _engine(self) -> Any:
        body: dict[str, Any] = {"fired": None}
        for name in self._ranked:
            body[_name("rule", name)] = self._make_rule(name)
        return type("CompiledRules", (experta.QuickEngine,), body)()

    def _make_rule(self, name: str) -> Any:
        facts = self._concludes[name]

        def fire(engine: Any) -> None:
            if name in engine.fired:  # an OR fires once for each true branch
                return
            engine.fired.add(name)
            for fact in facts:
                engine.declare(Concluded(fact=fact))

        fire.__name__ = _name("rule", name)
        salience = -(self._order[name] * RULES_A_LAYER + self._rank[name])
        return experta.Rule(*_patterns(self._programs[name]), salience=salience)(fire)


def concluded_by(program: Program) -> tuple[str, ...]:
    """Return what a rule concludes."""
    return tuple(
        fact for action in program.actions if action.kind == "conclude" for fact in action.about
    )


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


def matched_findings(program: Program, view: CaseView) -> list[int]:
    """Return the indexes of the findings that a rule's positive tests matched."""
    return [
        finding.index
        for test in program.walk()
        if isinstance(test, FindingTest) and not test.absent
        for finding in matching(test, view)
    ]


def _fields_used(programs: Iterable[Program]) -> dict[str, list[tuple[str, str]]]:
    """Return the fields of the wide fact and what each is of, by their kind."""
    used: dict[str, set[str]] = {"m": set(), "f": set(), "b": set()}
    for program in programs:
        for test in program.walk():
            match test:
                case MachineTest():
                    used["m"].add(test.field)
                case FindingTest():
                    used["f"].update(test.checks)
                case BeliefTest():
                    used["b"].add(test.cause)
    return {
        kind: [(_name(kind, name), name) for name in sorted(names)] for kind, names in used.items()
    }
