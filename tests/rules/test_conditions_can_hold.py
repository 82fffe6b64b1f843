"""No rule asks for what the request gate refuses: such a condition could never hold.

Every test of a finding is tried against the machines that the rule itself allows: some machine must
have one of its checks, and the outcome, verdict, number and attributes must be ones that a request
can state for it.
"""

import itertools
from collections.abc import Iterator
from typing import Any

import pytest

from engine.knowledge import Knowledge, items, load_knowledge
from engine.knowledge.cross import applies
from engine.knowledge.rule_language import (
    AttributeTest,
    ConcludedTest,
    FindingTest,
    Group,
    MachineTest,
)
from engine.reasoning.request import RequestError, read_request

KNOWLEDGE = load_knowledge()
# What the request schema takes (from its own limits).
NUMBERS = {"lead_ohms": (0.0, 5.0), "celsius": (-60.0, 300.0)}
READING_ONLY = ("lead_ohms", "celsius", "meter")
MACHINE_NUMBERS = {
    "fuse_amps": (1.0, 200.0), "pull_ohms": (0.02, 20.0), "hold_ohms": (1.0, 2000.0),
    "ambient_celsius": (-60.0, 90.0),
}  # fmt: skip


def machine_tests(rule: str) -> list[MachineTest]:
    """Return the tests of the machine that always stand, those nested in ``all`` too."""
    found, stack = [], list(KNOWLEDGE.programs[rule].conditions)
    while stack:
        one = stack.pop()
        if isinstance(one, MachineTest):
            found.append(one)
        elif isinstance(one, Group) and one.kind == "all":
            stack += one.members
    return found


def machines(rule: str) -> Iterator[dict[str, Any]]:
    """Yield the machines (circuit, coil, volts, actuation) that the rule's own tests allow."""
    tests = [one for one in machine_tests(rule) if one.values is not None]
    for circuit, coil, volts, actuation in itertools.product(
        KNOWLEDGE.circuits.values(), items.COILS, items.SYSTEM_VOLTS, (None, *items.ACTUATIONS)
    ):
        if circuit.duty == "brake-release" and actuation is not None:
            continue
        facts = {
            "duty": circuit.duty, "control": circuit.control, "coil": coil, "system_volts": volts,
            "fuel_actuation": actuation,
        }  # fmt: skip
        if all(
            facts.get(test.field, test.values[0]) in test.values or "unknown" in test.values
            for test in tests
            if test.values is not None
        ):
            yield {"circuit": circuit, "coil": coil, "system_volts": volts,
                   "fuel_actuation": actuation}  # fmt: skip


def possible(test: FindingTest, check: items.Check) -> bool:
    """Return whether a request can state what a test asks of a check."""
    reading = check.reading
    if reading is None:
        assert check.outcomes is not None
        names = {*check.outcomes.names, "not-known"}
        numbers = (test.above, test.below, test.above_share, test.below_share, test.reads)
        return (
            set(test.outcomes or names) <= names
            and all(one is None for one in numbers)
            and all(one.name not in READING_ONLY or one.relation == "missing"
                    for one in test.attributes)
        )  # fmt: skip
    words = {"not-known", "open"} if reading.unit == "ohm" else {"not-known"}
    return (
        set(test.outcomes or ()) <= words
        and ("open" not in (test.reads or ()) or reading.unit == "ohm")
        and _in_range(test, reading)
        and all(_attribute_possible(one) for one in test.attributes)
    )


def _in_range(test: FindingTest, reading: items.Reading) -> bool:
    """Return whether some value between the check's limits meets the test, at 12 or 24 V."""
    low = max(one for one in (reading.low, test.above) if one is not None)
    high = min(one for one in (reading.high, test.below) if one is not None)
    for volts in items.SYSTEM_VOLTS:
        bottom = low if test.above_share is None else max(low, test.above_share * volts)
        top = high if test.below_share is None else min(high, test.below_share * volts)
        if bottom < top:
            return True
    return False


def _attribute_possible(test: AttributeTest) -> bool:
    if test.relation not in ("above", "below") or test.name not in NUMBERS:
        return True
    low, high = NUMBERS[test.name]
    return test.value < high if test.relation == "above" else test.value > low


@pytest.mark.parametrize("rule", KNOWLEDGE.rules)
def test_every_condition_can_hold(rule: str) -> None:
    """Each condition of the rule holds for something that a request can state of its machines."""
    allowed = list(machines(rule))
    assert allowed, "no machine meets the rule's own tests"
    for test in KNOWLEDGE.programs[rule].walk():
        if isinstance(test, MachineTest) and test.field in MACHINE_NUMBERS:
            low, high = MACHINE_NUMBERS[test.field]
            assert (test.above or low) < high, test
            assert (test.below or high) > low, test
        if not isinstance(test, FindingTest):
            continue
        for name in test.checks:
            check = KNOWLEDGE.checks[name]
            assert any(applies(check.applies, **one) for one in allowed), f"no machine has {name}"
            assert possible(test, check), test


@pytest.mark.parametrize(
    "test",
    [
        FindingTest(("relay-click",), outcomes=("clicks",)),
        FindingTest(("relay-click",), above=1.0),
        FindingTest(("relay-click",), reads=("low",)),
        FindingTest(("relay-click",), attributes=(AttributeTest("lead_ohms", "given"),)),
        FindingTest(("pull-pin-voltage",), outcomes=("open",)),
        FindingTest(("pull-pin-voltage",), reads=("open",)),
        FindingTest(("pull-pin-voltage",), above_share=5.0),
        FindingTest(("pull-winding-ohms",), above=1e12),
        FindingTest(("pull-winding-ohms",), above=2.0, below=1.0),
        FindingTest(("pull-winding-ohms",), attributes=(AttributeTest("lead_ohms", "above", 5.0),)),
    ],
    ids=lambda test: str(test.checks[0]),
)
def test_what_cannot_be_stated_is_caught(test: FindingTest) -> None:
    """A wrong outcome, a number for an outcome check or a value off the scale can never hold."""
    assert not possible(test, KNOWLEDGE.checks[test.checks[0]])


@pytest.mark.parametrize("rule", KNOWLEDGE.rules)
def test_conclusions_are_made_in_time(rule: str) -> None:
    """What a rule wants or denies is concluded by a rule of the same stage or an earlier one."""
    stages = ("qualify", "prove", "conclude")
    place = stages.index(KNOWLEDGE.rules[rule].stage)
    early = {
        fact
        for name, program in KNOWLEDGE.programs.items()
        if stages.index(KNOWLEDGE.rules[name].stage) <= place
        for action in program.actions
        if action.kind == "conclude"
        for fact in action.about
    }
    tests = KNOWLEDGE.programs[rule].walk()
    assert {one.fact for one in tests if isinstance(one, ConcludedTest)} <= early


def test_the_limits_above_are_those_of_the_gate(knowledge: Knowledge) -> None:
    """The request gate refuses numbers just outside the limits that this file goes by."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    for field, (low, high) in MACHINE_NUMBERS.items():
        read_request({"machine": {**machine, field: low}}, knowledge)
        read_request({"machine": {**machine, field: high}}, knowledge)
        for outside in (low - 0.01, high + 0.01):
            with pytest.raises(RequestError):
                read_request({"machine": {**machine, field: outside}}, knowledge)
    ohms = {"check": "pull-winding-ohms", "value": 0.4, "unit": "ohm"}
    for field, limits in NUMBERS.items():
        for edge, step in zip(limits, (-0.01, 0.01), strict=True):
            read_request({"machine": machine, "findings": [{**ohms, field: edge}]}, knowledge)
            wrong = {"machine": machine, "findings": [{**ohms, field: edge + step}]}
            with pytest.raises(RequestError):
                read_request(wrong, knowledge)
