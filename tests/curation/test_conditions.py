"""Conditions that no machine and no finding which the gate takes can meet."""

from typing import Any

from engine import load_knowledge
from engine.audit.conditions import impossible_faults, unused_facts
from tests.curation.shop import Shop

HEARD = {"check": "relay-click", "outcome": "heard"}
FUEL = {"machine": "duty", "is": "fuel-shutoff"}
BRAKE = {"machine": "duty", "is": "brake-release"}
OHMS = "pull-winding-ohms"
IMPOSSIBLE: dict[str, tuple[list[dict[str, Any]], str]] = {
    "over-range": ([{"check": "battery-voltage-rest", "above": 500}], "when[0]"),
    "share-over-range": ([{"check": "battery-voltage-rest", "above_share": 5.0}], "when[0]"),
    "open-volts": ([HEARD, {"check": "relay-87-voltage", "reads": "open"}], "when[1]"),
    "negative-ohms": ([{"check": OHMS, "below": 0}], "when[0]"),
    "empty-band": ([{"check": "pull-current", "above": 10, "below": 5}], "when[0]"),
    "leads-of-an-answer": ([{**HEARD, "with": {"lead_ohms": "given"}}], "when[0]"),
    "leads-too-long": ([{"check": OHMS, "with": {"lead_ohms": "above 20"}}], "when[0]"),
    "side-of-fuel": ([FUEL, {**HEARD, "with": {"side": "left"}}], "when[1]"),
    "brake-check-on-fuel": ([FUEL, {"check": "lock-look", "outcome": "jammed"}], "when[1]"),
    "fuse-of-a-ship": ([{"machine": "fuse_amps", "above": 400}], "when[0]"),
    "other-control": ([BRAKE, {"machine": "control", "is": "controller-on-crank"}], "when"),
    "nested": ([{"any": [{"check": OHMS, "below": 0}, {"check": OHMS, "above": 1e12}]}], "when[0]"),
}


POSSIBLE: tuple[list[dict[str, Any]], ...] = (
    [{"check": OHMS, "outcome": "open"}],
    [{"check": "battery-voltage-rest", "above_share": 0.9}],
    [{"check": "relay-click", "outcome": "not-known"}],
    [{"check": "relay-click", "given": False}],
    [{"machine": "control", "is": "unknown"}, HEARD],
    [{**HEARD, "with": {"side": "right"}}, {"machine": "solenoids", "is": 2}],
    [{"any": [{"check": "battery-voltage-rest", "above": 500}, HEARD]}],
)


def test_impossible_conditions_are_named_and_no_others(shop: Shop) -> None:
    """A condition that the gate rules out is named, with its file and its place; what the gate
    takes is not."""
    for name, (when, _) in IMPOSSIBLE.items():
        shop.rule(name, "traps", when, [{"note": True}])
    for number, when in enumerate(POSSIBLE):
        shop.rule(f"lives-{number}", "traps", when, [{"note": True}])
    faults = impossible_faults(load_knowledge([shop.folder]))
    wanted = [f"shop/rules/traps/{name}.yaml: {place}" for name, (_, place) in IMPOSSIBLE.items()]
    assert sorted(fault.path for fault in faults) == sorted(wanted)


def test_unused_conclusions_are_listed_with_their_rules(shop: Shop) -> None:
    """A conclusion without a reader is listed under the rules that make it."""
    shop.rule("one", "traps", [HEARD], [{"conclude": "lonely"}])
    shop.rule("two", "context", [HEARD], [{"conclude": "lonely"}])
    assert unused_facts(load_knowledge([shop.folder]))["lonely"] == ["one", "two"]


def test_rules_about_what_is_switched_off_may_rest(shop: Shop) -> None:
    """Switching off a check or a cause makes no fault of the rules that speak of it."""
    shop.put("switched-off.yaml", "checks: [relay-click]\ncauses: [wrong-voltage-part]\n")
    knowledge = load_knowledge([shop.folder])
    assert "relay-click" not in knowledge.checks
    assert impossible_faults(knowledge) == []
