"""Dead rules: what no machine and no finding that the gate takes can fire."""

from typing import Any

import pytest

from engine import Knowledge, load_knowledge
from engine.audit.liveness import dead_rule_faults, gate_machines, unused_facts
from engine.reasoning.request import MachineSchema
from tests.curation.shop import Shop

HEARD = {"check": "relay-click", "outcome": "heard"}
DEAD: dict[str, tuple[list[dict[str, Any]], str]] = {
    "over-range": ([{"check": "battery-voltage-rest", "above": 500}], "when[0]"),
    "open-volts": ([HEARD, {"check": "relay-87-voltage", "reads": "open"}], "when[1]"),
    "negative-ohms": ([{"check": "pull-winding-ohms", "below": 0}], "when[0]"),
    "empty-band": ([{"check": "pull-current", "above": 10, "below": 5}], "when[0]"),
    "leads-of-an-answer": ([{**HEARD, "with": {"lead_ohms": "given"}}], "when[0]"),
    "leads-too-long": (
        [{"check": "pull-winding-ohms", "with": {"lead_ohms": "above 20"}}],
        "when[0]",
    ),
    "side-of-a-fuel-solenoid": (
        [{"machine": "duty", "is": "fuel-shutoff"}, {**HEARD, "with": {"side": "left"}}],
        "when",
    ),
    "brake-check-on-fuel": (
        [{"machine": "duty", "is": "fuel-shutoff"}, {"check": "lock-look", "outcome": "jammed"}],
        "when",
    ),
    "fuse-of-a-ship": ([{"machine": "fuse_amps", "above": 400}], "when[0]"),
    "control-of-the-other-duty": (
        [
            {"machine": "duty", "is": "brake-release"},
            {"machine": "control", "is": "controller-on-crank"},
        ],
        "when",
    ),
    "asked-and-not-asked": ([HEARD, {"check": "relay-click", "given": False}], "when"),
    "said-and-denied": ([{"concluded": "never-so"}, {"not_concluded": "never-so"}], "when"),
}


@pytest.mark.parametrize("name", DEAD)
def test_dead_rule_is_found(shop: Shop, name: str) -> None:
    """A condition that the gate or another condition rules out makes the rule dead; it is named."""
    when, place = DEAD[name]
    shop.rule(name, "traps", when, [{"note": True}])
    if name == "said-and-denied":
        shop.rule("says-it", "traps", [HEARD], [{"conclude": "never-so"}])
    faults = dead_rule_faults(load_knowledge([shop.folder]))
    assert [fault.path for fault in faults] == [f"shop/rules/traps/{name}.yaml: {place}"]


def test_rule_that_waits_for_a_dead_one_is_dead(shop: Shop) -> None:
    """A conclusion that only a dead rule, or only a later stage, makes is never there."""
    shop.rule("dead", "traps", DEAD["over-range"][0], [{"conclude": "too-much"}])
    shop.rule("waits", "traps", [{"concluded": "too-much"}], [{"note": True}])
    shop.rule("late", "chains", [HEARD], [{"conclude": "known-late"}])
    shop.rule("early", "traps", [{"concluded": "known-late"}], [{"note": True}])
    faults = {
        fault.path: fault.message for fault in dead_rule_faults(load_knowledge([shop.folder]))
    }
    assert set(faults) == {
        "shop/rules/traps/dead.yaml: when[0]",
        "shop/rules/traps/waits.yaml: when",
        "shop/rules/traps/early.yaml: when",
    }
    assert "too-much" in faults["shop/rules/traps/waits.yaml: when"]


@pytest.mark.parametrize(
    "when",
    [
        [{"check": "pull-winding-ohms", "outcome": "open"}],
        [{"check": "battery-voltage-rest", "above_share": 0.9}],
        [{"check": "relay-click", "outcome": "not-known"}],
        [{"check": "relay-click", "given": False}],
        [{"machine": "control", "is": "unknown"}, HEARD],
        [{**HEARD, "with": {"side": "right"}}, {"machine": "solenoids", "is": 2}],
        [{"any": [{"check": "battery-voltage-rest", "above": 500}, HEARD]}],
    ],
)
def test_living_rule_is_no_fault(shop: Shop, when: list[dict[str, Any]]) -> None:
    """What the gate takes is not called dead."""
    shop.rule("lives", "traps", when, [{"note": True}])
    assert dead_rule_faults(load_knowledge([shop.folder])) == []


def test_machines_are_those_that_the_gate_takes(knowledge: Knowledge) -> None:
    """Every machine that the audit thinks of passes the gate, and all duties and controls occur."""
    found = gate_machines(knowledge)
    schema = MachineSchema()
    for machine in found:
        stated = {key: value for key, value in machine.items() if value is not None}
        assert schema.validate(stated) == {}
    assert {one["control"] for one in found} == {
        "ignition-timed", "controller-on-crank", "controller-on-request", "unknown",
    }  # fmt: skip


def test_unused_conclusions_are_listed_with_their_rules(shop: Shop) -> None:
    """A conclusion without a reader is listed under the rules that make it."""
    shop.rule("one", "traps", [HEARD], [{"conclude": "lonely"}])
    shop.rule("two", "context", [HEARD], [{"conclude": "lonely"}])
    assert unused_facts(load_knowledge([shop.folder]))["lonely"] == ["one", "two"]


def test_rules_about_what_is_switched_off_may_rest(shop: Shop) -> None:
    """Switching off a check or a cause makes no fault of the rules and causes that speak of it."""
    shop.put("switched-off.yaml", "checks: [relay-click]\ncauses: [wrong-voltage-part]\n")
    knowledge = load_knowledge([shop.folder])
    assert "relay-click" not in knowledge.checks
    assert dead_rule_faults(knowledge) == []
    shop.rule("own", "traps", DEAD["over-range"][0], [{"note": True}])
    faults = dead_rule_faults(load_knowledge([shop.folder]))
    assert [fault.path for fault in faults] == ["shop/rules/traps/own.yaml: when[0]"]
