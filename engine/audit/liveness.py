"""Dead rules: rules that no machine and no answer which the request gate lets through can fire."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from marshmallow import Schema, validate

from engine.knowledge import Fault, Knowledge, items
from engine.knowledge.cross import applies
from engine.knowledge.rule_language import (
    AttributeTest,
    BeliefTest,
    ConcludedTest,
    Condition,
    FindingTest,
    Group,
    MachineTest,
    Program,
    StepTest,
)
from engine.physics.machine import Machine, Variant
from engine.physics.model import variants_of
from engine.reasoning.request import NOT_KNOWN, OPEN, FindingSchema, MachineSchema
from engine.rules.cautions import check_hazards, remedy_hazards
from engine.rules.views import machine_holds

STAGES = ("qualify", "prove", "conclude")
ONLY_READINGS = ("lead_ohms", "celsius", "meter")
Limits = tuple[float, float]
_MACHINE, _FINDING = MachineSchema(), FindingSchema()


def dead_rule_faults(knowledge: Knowledge) -> list[Fault]:
    """Return a fault for each rule that can never fire, naming the condition where one is."""
    scenes = [_Scene(knowledge, one) for one in gate_machines(knowledge)]
    alive: set[str] = set()
    for scene in scenes:
        alive |= scene.alive()
        if len(alive) == len(knowledge.rules):
            return []
    faults = []
    idle = idle_rules(knowledge)
    for name, rule in knowledge.rules.items():
        if name not in alive and name not in idle:
            path, why = _why(knowledge, name, scenes)
            faults.append(Fault(f"{rule.file}: {path}", f"the rule can never fire: {why}"))
    return faults


def idle_rules(knowledge: Knowledge) -> set[str]:
    """Return the rules that may rest, since a shop switched off what they ask for.

    Those that ask for a check, cause or conclusion that is off, and those that ask for what only
    such rules conclude.
    """
    if not knowledge.switched_off:
        return set()
    idle: set[str] = set()
    while True:
        made = {
            fact
            for name, program in knowledge.programs.items()
            if name not in idle
            for fact in _concludes(program)
        }
        new = {
            name
            for name, program in knowledge.programs.items()
            if name not in idle
            and any(_asks_for_what_is_off(one, knowledge, made) for one in program.walk())
        }
        if not new:
            return idle
        idle |= new


def _asks_for_what_is_off(test: Condition, knowledge: Knowledge, made: set[str]) -> bool:
    match test:
        case FindingTest():
            return not test.absent and set(test.checks) <= knowledge.switched_off
        case BeliefTest():
            return test.cause in knowledge.switched_off
        case ConcludedTest():
            return test.wanted and test.fact not in made
    return False


def unused_facts(knowledge: Knowledge) -> dict[str, list[str]]:
    """Return what rules conclude and no rule asks for, with the rules: news, not a fault."""
    asked = {
        test.fact
        for program in knowledge.programs.values()
        for test in program.walk()
        if isinstance(test, ConcludedTest)
    }
    found: dict[str, list[str]] = {}
    for name, program in knowledge.programs.items():
        for fact in _concludes(program):
            if fact not in asked:
                found.setdefault(fact, []).append(name)
    return dict(sorted(found.items()))


def _concludes(program: Program) -> list[str]:
    return [fact for one in program.actions if one.kind == "conclude" for fact in one.about]


def gate_machines(knowledge: Knowledge) -> list[dict[str, Any]]:
    """Return every machine that the gate lets through, apart from free numbers."""
    found = []
    pairs = {(one.duty, one.control) for one in knowledge.circuits.values()}
    pairs |= {(duty, "unknown") for duty, _ in pairs}
    for duty, control in sorted(pairs):
        for coil, volts, actuation, solenoids in itertools.product(
            (*items.COILS, "unknown"), items.SYSTEM_VOLTS, (None, *items.ACTUATIONS), (None, 1, 2)
        ):
            machine = {
                "duty": duty, "control": control, "coil": coil, "system_volts": volts,
                "fuel_actuation": actuation, "solenoids": solenoids,
            }  # fmt: skip
            if not _MACHINE.validate({k: v for k, v in machine.items() if v is not None}):
                found.append(machine)
    return found


def gate_limits(schema: Schema, field: str) -> Limits:
    """Return the numbers between which the gate takes a field."""
    for one in schema.fields[field].validators:
        if isinstance(one, validate.Range):
            return float(one.min), float(one.max)
    return float("-inf"), float("inf")


@dataclass(frozen=True)
class _Scene:
    """One machine, and what can be found, believed and done on it."""

    knowledge: Knowledge
    machine: Mapping[str, Any]

    @cached_property
    def variants(self) -> list[Variant]:
        """Return the circuits and coil styles that the machine may have."""
        named = {key: value for key, value in self.machine.items() if key != "solenoids"}
        return variants_of(self.knowledge, Machine(**named))

    @cached_property
    def checks(self) -> Mapping[str, items.Check]:
        """Return the checks of which the gate lets a finding through."""
        checks = self.knowledge.checks
        return {name: one for name, one in checks.items() if can_have(one, self.machine)}

    @cached_property
    def causes(self) -> Mapping[str, items.Cause]:
        """Return the causes that some variant can have."""
        return {
            name: cause
            for name, cause in self.knowledge.causes.items()
            if any(
                applies(
                    cause.applies, circuit=one.circuit, coil=one.coil,
                    system_volts=one.system_volts, fuel_actuation=one.fuel_actuation,
                )
                for one in self.variants
            )
        }  # fmt: skip

    @cached_property
    def hazards(self) -> frozenset[str]:
        """Return every hazard that some check or remedy carries."""
        found = [check_hazards(one, self.variants) for one in self.checks.values()]
        found += [remedy_hazards(one, self.variants) for one in self.causes.values()]
        return frozenset().union(*found)

    def alive(self) -> set[str]:
        """Return the rules that can fire, counting on the conclusions of others that can."""
        facts: dict[str, int] = {}
        alive: set[str] = set()
        rules, programs = self.knowledge.rules, self.knowledge.programs
        waiting = [name for name in rules if self._may_fire(programs[name])]
        while True:
            new = [
                name
                for name in waiting
                if all(
                    self.possible(one, facts, STAGES.index(rules[name].stage))
                    for one in programs[name].conditions
                )
            ]
            if not new:
                return alive
            alive.update(new)
            waiting = [name for name in waiting if name not in alive]
            for name in new:
                stage = STAGES.index(rules[name].stage)
                for fact in _concludes(programs[name]):
                    facts[fact] = min(stage, facts.get(fact, stage))

    def _may_fire(self, program: Program) -> bool:
        """Return whether a rule can fire if every conclusion that it asks for is there."""
        conditions = program.conditions
        return not contradictory(conditions) and all(
            self.possible(one, None, len(STAGES)) for one in conditions
        )

    def possible(self, test: Condition, facts: Mapping[str, int] | None, stage: int) -> bool:
        """Return whether a condition can hold; ``facts`` None takes every conclusion as given."""
        match test:
            case MachineTest():
                return self._machine_possible(test)
            case FindingTest():
                return test.absent or any(self._found(test, name) for name in test.checks)
            case ConcludedTest():
                return not test.wanted or facts is None or facts.get(test.fact, 9) <= stage
            case BeliefTest() | StepTest():
                return self._believed_or_done(test)
            case Group():
                met = [self.possible(one, facts, stage) for one in test.members]
                return {"any": any(met), "all": all(met), "none": True}[test.kind]

    def _believed_or_done(self, test: BeliefTest | StepTest) -> bool:
        if isinstance(test, BeliefTest):
            return test.cause in self.causes
        return test.hazard in self.hazards

    def _machine_possible(self, test: MachineTest) -> bool:
        if test.field in self.machine:
            return machine_holds(test, self.machine[test.field])
        low, high = gate_limits(_MACHINE, test.field)
        if test.values is not None:
            return any(machine_holds(test, one) and low <= one <= high for one in test.values)
        return _overlap(test.above, test.below, low, high)

    def _found(self, test: FindingTest, name: str) -> bool:
        """Return whether the gate lets a finding of a check through that meets the test."""
        check = self.checks.get(name)
        if check is None:
            return False
        if not all(self._attribute_possible(one, check) for one in test.attributes):
            return False
        if check.reading is None:
            return outcome_possible(test, check)
        return reading_possible(test, check.reading, float(self.machine["system_volts"]))

    def _attribute_possible(self, test: AttributeTest, check: items.Check) -> bool:
        if test.relation == "missing":
            return True
        if test.name in ONLY_READINGS and check.reading is None:
            return False
        if test.name == "side":
            two = self.machine["duty"] == "brake-release" and self.machine["solenoids"] != 1
            if not two:
                return False
        if test.relation in ("above", "below"):
            limit = float(test.value)
            above, below = (limit, None) if test.relation == "above" else (None, limit)
            numeric = test.name in ("lead_ohms", "celsius")
            return numeric and _overlap(above, below, *gate_limits(_FINDING, test.name))
        return True


def can_have(check: items.Check, machine: Mapping[str, Any]) -> bool:
    """Return whether the gate lets a finding of the check through on the machine."""
    return any(
        all(
            machine.get(key) in (None, "unknown") or machine[key] in allowed
            for key, allowed in alternative.items()
        )
        for alternative in check.applies
    )


def outcome_possible(test: FindingTest, check: items.Check) -> bool:
    """Return whether an outcome check can meet a test of outcomes."""
    numeric = (test.above, test.below, test.above_share, test.below_share)
    if test.reads is not None or any(one is not None for one in numeric):
        return False
    assert check.outcomes is not None
    names = (*check.outcomes.names, NOT_KNOWN)
    return test.outcomes is None or any(one in names for one in test.outcomes)


def reading_possible(test: FindingTest, reading: items.Reading, volts: float) -> bool:
    """Return whether a reading within its range, or over range, can meet a test."""
    shares = [None if one is None else one * volts for one in (test.above_share, test.below_share)]
    above = _extreme(max, test.above, shares[0])
    below = _extreme(min, test.below, shares[1])
    ohms = reading.unit == "ohm"
    if test.outcomes is not None:
        words = [one for one in test.outcomes if one == NOT_KNOWN or (one == OPEN and ohms)]
        return bool(words) and above is None and below is None and _verdict(test, ("good", "open"))
    low = max(reading.low, 0.0) if reading.unit in ("ohm", "s") else reading.low
    if ohms and above is None and below is None and _verdict(test, ("good", "open")):
        return True
    measured = ("good", "low", "high", "cannot-say")
    return _verdict(test, measured) and _overlap(above, below, low, reading.high)


def _verdict(test: FindingTest, can: Sequence[str]) -> bool:
    return test.reads is None or any(one in can for one in test.reads)


def _extreme(pick: Any, *limits: float | None) -> float | None:
    there = [one for one in limits if one is not None]
    return float(pick(there)) if there else None


def _overlap(above: float | None, below: float | None, low: float, high: float) -> bool:
    """Return whether some number from low to high lies above the one and below the other."""
    if above is not None and above >= high:
        return False
    if below is not None and below <= low:
        return False
    return above is None or below is None or above < below


def contradictory(conditions: Sequence[Condition]) -> bool:
    """Return whether a condition is asked for and denied beside it."""
    wanted: set[Condition] = set(conditions)
    denied: set[Condition] = set()
    for one in conditions:
        if isinstance(one, Group) and one.kind == "none":
            denied.update(one.members)
        if isinstance(one, ConcludedTest):
            denied.add(ConcludedTest(one.fact, not one.wanted))
        if isinstance(one, FindingTest) and one.absent:
            denied.add(FindingTest(one.checks))
            denied.update(other for other in wanted if _same_check(one, other))
    return bool(wanted & denied)


def _same_check(absent: FindingTest, other: Condition) -> bool:
    """Return whether a plain "no such finding" rules another test out."""
    if FindingTest(absent.checks, absent=True) != absent or not isinstance(other, FindingTest):
        return False
    return not other.absent and set(other.checks) <= set(absent.checks)


def _why(knowledge: Knowledge, name: str, scenes: Sequence[_Scene]) -> tuple[str, str]:
    """Return the field and reason for a dead rule: the first condition that nothing meets."""
    program = knowledge.programs[name]
    stage = STAGES.index(knowledge.rules[name].stage)
    for number, test in enumerate(program.conditions):
        if not any(one.possible(test, None, stage) for one in scenes):
            return f"when[{number}]", "no machine and no finding that is taken meets this condition"
    if contradictory(program.conditions):
        return "when", "one condition denies another"
    wanted = [one.fact for one in program.walk() if isinstance(one, ConcludedTest) and one.wanted]
    if wanted:
        return "when", f"no rule that can fire in time concludes {' and '.join(wanted)}"
    return "when", "no one machine meets all of its conditions"
