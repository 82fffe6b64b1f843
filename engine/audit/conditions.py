"""Conditions of rules that can never hold, since the request gate takes no such thing.

Each condition is tried against the machines that the rule's own tests allow. That a rule waits for
a conclusion which never comes shows where cases are run: `threewire kb cases` names it.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from marshmallow import Schema, validate

from engine.knowledge import Fault, Knowledge, items
from engine.knowledge.faults import in_file
from engine.knowledge.items import applies
from engine.knowledge.rule_language import (
    MACHINE_FIELDS,
    AttributeTest,
    ConcludedTest,
    Condition,
    FindingTest,
    Group,
    MachineTest,
    Program,
)
from engine.reasoning.request import NOT_KNOWN, OPEN, FindingSchema, MachineSchema
from engine.rules.views import machine_holds

ONLY_READINGS = ("lead_ohms", "celsius", "meter")
NUMBERS = ("lead_ohms", "celsius")
_NEVER = "the rule can never fire: no machine and no finding that is taken meets this"
Facts = Mapping[str, object]


@dataclass(frozen=True)
class _Place:
    """A machine as the rules see it, with its circuit."""

    circuit: items.Circuit
    facts: Facts

    def has(self, check: items.Check) -> bool:
        """Return whether the check can be done there."""
        return applies(check.applies, circuit=self.circuit, **self.facts)


def impossible_faults(knowledge: Knowledge) -> list[Fault]:
    """Return a fault for each condition that no request can meet, naming the condition."""
    machines = _machines(knowledge)
    faults = []
    for name, program in knowledge.programs.items():
        allowed = [one for one in machines if _allowed(program, one.facts)]
        never = [
            f"when[{number}]"
            for number, test in enumerate(program.conditions)
            if not _possible(test, allowed or machines, knowledge)
        ]
        places = never or ([] if allowed else ["when"])
        faults += [in_file(knowledge.rules[name].file, path, _NEVER) for path in places]
    return faults


def unused_facts(knowledge: Knowledge) -> dict[str, list[str]]:
    """Return what rules conclude and no rule asks for, with the rules: news, not a fault."""
    programs = knowledge.programs
    asked = {
        test.fact
        for program in programs.values()
        for test in program.walk()
        if isinstance(test, ConcludedTest)
    }
    found: dict[str, list[str]] = {}
    for name, program in programs.items():
        for fact in program.concludes():
            if fact not in asked:
                found.setdefault(fact, []).append(name)
    return dict(sorted(found.items()))


def _machines(knowledge: Knowledge) -> Sequence[_Place]:
    """Return every machine that the gate lets through, apart from free numbers."""
    found = []
    for circuit, coil, volts, actuation, solenoids in itertools.product(
        knowledge.circuits.values(), items.COILS, items.SYSTEM_VOLTS,
        (None, *items.ACTUATIONS), (None, 1, 2),
    ):  # fmt: skip
        on_fuel_only, on_brakes_only = actuation is not None, solenoids is not None
        if (on_fuel_only and circuit.duty != "fuel-shutoff") or (
            on_brakes_only and circuit.duty != "brake-release"
        ):
            continue
        facts = {
            "duty": circuit.duty, "control": circuit.control, "coil": coil,
            "system_volts": volts, "fuel_actuation": actuation, "solenoids": solenoids,
        }  # fmt: skip
        found.append(_Place(circuit, facts))
    return found


def _allowed(program: Program, facts: Facts) -> bool:
    """Return whether a machine meets the tests of it that stand outside any and none."""
    stack = list(program.conditions)
    while stack:
        one = stack.pop()
        if isinstance(one, Group) and one.kind == "all":
            stack += one.members
        if isinstance(one, MachineTest) and not _machine_may(one, facts):
            return False
    return True


def _machine_may(test: MachineTest, facts: Facts) -> bool:
    """Return whether a machine meets a test; one of unknown control or coil may be any."""
    if test.field in facts:
        return "unknown" in (test.values or ()) or machine_holds(test, facts[test.field])
    if MACHINE_FIELDS[test.field] is not None:
        return True  # a word that the language of rules knows, and so does the gate
    low, high = gate_limits(MachineSchema(), test.field)
    if test.values is not None:
        return any(machine_holds(test, one) and low <= one <= high for one in test.values)
    return _overlap(test.above, test.below, low, high)


def _possible(test: Condition, allowed: Sequence[_Place], knowledge: Knowledge) -> bool:
    """Return whether a condition can hold on some machine; others see to those of other kinds."""
    if isinstance(test, Group):
        met = [_possible(one, allowed, knowledge) for one in test.members]
        return {"any": any(met), "all": all(met), "none": True}[test.kind]
    if isinstance(test, MachineTest):
        return any(_machine_may(test, one.facts) for one in allowed)
    if not isinstance(test, FindingTest) or test.absent:
        return True
    return any(
        name not in knowledge.checks  # a shop switched it off: the rule rests
        or any(_statable(test, knowledge.checks[name], one) for one in allowed)
        for name in test.checks
    )


def _statable(test: FindingTest, check: items.Check, place: _Place) -> bool:
    """Return whether a request can state what a test asks of a check, on a machine."""
    if not place.has(check):
        return False
    if not all(_attribute_may(one, check, place.facts) for one in test.attributes):
        return False
    if check.outcomes is not None:
        numbers = (test.above, test.below, test.above_share, test.below_share, test.reads)
        names = (*check.outcomes.names, NOT_KNOWN)
        stated = test.outcomes is None or bool(set(test.outcomes) & set(names))
        return stated and all(one is None for one in numbers)
    assert check.reading is not None
    return _readable(test, check.reading, place.facts["system_volts"])  # type: ignore[arg-type]


def _readable(test: FindingTest, reading: items.Reading, volts: float) -> bool:
    """Return whether a reading within its range, or over range, can meet a test."""
    above = [one for one in (test.above, _times(test.above_share, volts)) if one is not None]
    below = [one for one in (test.below, _times(test.below_share, volts)) if one is not None]
    ohms = reading.unit == "ohm"
    over = ohms and not above and not below
    words = {NOT_KNOWN, *((OPEN,) if ohms else ())}
    if test.outcomes is not None:
        return bool(words & set(test.outcomes)) and not above and not below
    if over and (test.reads is None or {"good", "open"} & set(test.reads)):
        return True
    if test.reads is not None and not set(test.reads) - {"open"}:
        return False
    low = max(reading.low, 0.0) if reading.unit in ("ohm", "s") else reading.low
    return _overlap(max(above, default=None), min(below, default=None), low, reading.high)


def _times(share: float | None, volts: float) -> float | None:
    return None if share is None else share * volts


def _attribute_may(test: AttributeTest, check: items.Check, facts: Facts) -> bool:
    if test.relation == "missing":
        return True
    if test.name in ONLY_READINGS and check.reading is None:
        return False
    if test.name == "side" and (facts["duty"] != "brake-release" or facts["solenoids"] == 1):
        return False
    if test.relation not in ("above", "below"):
        return True
    limit = float(test.value)
    above, below = (limit, None) if test.relation == "above" else (None, limit)
    return test.name in NUMBERS and _overlap(above, below, *gate_limits(FindingSchema(), test.name))


def gate_limits(schema: Schema, field: str) -> tuple[float, float]:
    """Return the numbers between which the gate takes a field."""
    for one in schema.fields[field].validators:
        if isinstance(one, validate.Range):
            return float(one.min), float(one.max)
    return float("-inf"), float("inf")


def _overlap(above: float | None, below: float | None, low: float, high: float) -> bool:
    """Return whether some number from low to high lies above the one and below the other."""
    low = low if above is None else max(low, above)
    high = high if below is None else min(high, below)
    return low < high
