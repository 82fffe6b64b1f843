"""Readings made comparable: leads, temperature, verdict; and what rules do to findings."""

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge, items
from engine.knowledge.rule_language import read_rule
from engine.physics.machine import Machine
from engine.physics.model import Model
from engine.reasoning.effects import effects_of, shares_of
from engine.reasoning.observe import Observation, observe
from engine.reasoning.request import read_request
from engine.rules.compile import Firing
from engine.rules.views import CaseView, FindingView

CASE = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
BRAKE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
SHARP = {"percent": 0.5, "counts": 2, "resolution": 0.001}
Correct = Callable[..., Observation]


@pytest.fixture(scope="module")
def corrected(diagnoser: Diagnoser) -> Correct:
    """Give a function that corrects one reading on a timed machine."""

    def make(check: str, value: float | None = None, unit: str = "ohm", **more: Any) -> Observation:
        machine = {**CASE, **more.pop("machine", {})}
        finding: dict[str, Any] = {"check": check, **more}
        if value is not None:
            finding |= {"value": value, "unit": unit}
        checked = read_request({"machine": machine, "findings": [finding]}, diagnoser.knowledge)
        model = diagnoser.models.get(checked.machine)
        return observe(model, checked.findings[0])

    return make


def test_leads_are_taken_off(corrected: Correct) -> None:
    """0.6 ohm with 0.2 ohm of leads is 0.4 ohm, and the answer says so."""
    found = corrected("pull-winding-ohms", 0.6, lead_ohms=0.2)
    assert found.value == pytest.approx(0.4)
    assert found.said == "0.2 ohm of leads taken off"
    assert corrected("pull-winding-ohms", 0.1, lead_ohms=0.2).value == 0.0


def test_a_hot_winding_is_referred_to_the_day(corrected: Correct) -> None:
    """0.3707 ohm at 80 C is 0.300 ohm at 20 C (IEC 60028 coefficient, calculated)."""
    found = corrected("pull-winding-ohms", 0.3707, celsius=80)
    assert found.value == pytest.approx(0.300, abs=5e-5)
    assert "80 C" in found.said
    cold = corrected("hold-winding-ohms", 24.0, celsius=20, machine={"ambient_celsius": 20})
    assert cold.value == pytest.approx(24.0)


def test_only_windings_are_referred(corrected: Correct) -> None:
    """Ohms of a ground path and volts are not a coil's: a temperature changes nothing there."""
    assert corrected("ground-path-ohms", 0.5, celsius=80).value == 0.5
    assert corrected("pull-pin-voltage", 11.0, "V", celsius=80).value == 11.0


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(11.6, "good"), (6.0, "low"), (14.4, "high")],
)
def test_verdicts_of_a_voltage(value: float, verdict: str, corrected: Correct) -> None:
    """11.6 V at the pull pin of a good machine is good, 6 V is low, 14.4 V at rest high."""
    assert corrected("pull-pin-voltage", value, "V").verdict == verdict


def test_a_coarse_meter_cannot_say(corrected: Correct) -> None:
    """0.4 ohm on the 200 ohm range, 0.5 % + 2 x 0.1, on a 0.3 ohm winding: u 0.1166, so the
    verdict is cannot-say; a sharp meter with zeroed leads can say (JCGM 106:2012 for the idea)."""
    said = {"machine": {"pull_ohms": 0.3}, "lead_ohms": 0.0}
    coarse = {"percent": 0.5, "counts": 2, "resolution": 0.1}
    assert corrected("pull-winding-ohms", 0.4, meter=coarse, **said).verdict == "cannot-say"
    assert corrected("pull-winding-ohms", 0.3, meter=SHARP, **said).verdict == "good"
    assert corrected("pull-winding-ohms", 0.6, meter=SHARP, **said).verdict == "high"


def test_open_is_bad_where_a_good_machine_reads_and_good_where_it_does_not(
    corrected: Correct,
) -> None:
    """Over range on a winding is open; from the pull pin to the body of a good harness it is good,
    and any number there is low."""
    assert corrected("pull-winding-ohms", outcome="open").verdict == "open"
    assert corrected("harness-pull-to-ground-ohms", outcome="open").verdict == "good"
    assert corrected("harness-pull-to-ground-ohms", 0.1).verdict == "low"


def test_not_known_has_no_verdict(corrected: Correct) -> None:
    """A reading that was not taken has neither value nor verdict."""
    found = corrected("pull-winding-ohms", outcome="not-known")
    assert (found.value, found.verdict) == (None, None)


def test_a_meter_stated_as_exact(corrected: Correct) -> None:
    """A meter of no uncertainty at all is taken as one of next to none."""
    exact = {"percent": 0, "counts": 0, "resolution": 0.1}
    assert corrected("pull-pin-voltage", 11.6, "V", meter=exact).verdict == "good"
    assert corrected("pull-pin-voltage", 0, "V", meter=exact).verdict == "low"


def view(*findings: FindingView) -> CaseView:
    """Return a case on a body-ground machine."""
    return CaseView({"coil": "body-ground", "duty": "fuel-shutoff", "system_volts": 12}, findings)


def to_pin(index: int) -> FindingView:
    """Return a reading taken to the dead pin."""
    return FindingView(index, "pull-winding-ohms", "open", None, "open",
                       (("measured_to", "ground-pin"),))  # fmt: skip


def test_only_the_findings_that_match_are_set_aside(knowledge: Knowledge) -> None:
    """Of several readings those to the dead pin are set aside, the one to the body stays."""
    good = FindingView(1, "pull-winding-ohms", None, 0.4, "good", (("measured_to", "body"),))
    case = view(to_pin(0), good, to_pin(2))
    firing = Firing("ohms-to-dead-pin-body-ground", (0, 2), ())
    effects = effects_of(knowledge, case, [firing])
    assert effects.shares == {0: 0.0, 2: 0.0}
    assert [one.finding for one in effects.set_aside] == [0, 2]
    entry = effects.set_aside[0]
    assert entry.rule == "ohms-to-dead-pin-body-ground"
    assert entry.because
    assert entry.instead


def discounting(knowledge: Knowledge, **actions: dict[str, Any]) -> Knowledge:
    """Return the base with one trap rule for each action instead of its own rules."""
    rules, programs = {}, {}
    for name, action in actions.items():
        when = ({"check": "pull-winding-ohms", "given": True},)
        because = items.Because("Found.", "Points.", "Next.")
        rules[name] = items.Rule(
            id=name, family="traps", title="T", when=when, then=(action,), because=because,
            source="judgement",
        )  # fmt: skip
        programs[name], faults = read_rule(rules[name])
        assert not faults
    return dataclasses.replace(knowledge, rules=rules, programs=programs)


@pytest.mark.parametrize("order", ["weak aside", "aside weak", "weak weaker", "weaker weak"])
def test_the_strictest_rule_counts(order: str, knowledge: Knowledge) -> None:
    """A finding that several rules discount keeps the least that any of them leaves it, whichever
    fires first; each rule still says why."""
    base = discounting(
        knowledge,
        aside={"set_aside": "pull-winding-ohms"},
        weak={"weaken": "pull-winding-ohms", "keep": 0.6},
        weaker={"weaken": "pull-winding-ohms", "keep": 0.2},
    )
    keeps = {"aside": 0.0, "weak": 0.6, "weaker": 0.2}
    firings = [Firing(name, (0,), ()) for name in order.split()]
    effects = effects_of(base, view(to_pin(0)), firings)
    assert effects.shares == {0: min(keeps[name] for name in order.split())}
    said = [one.rule for one in [*effects.set_aside, *effects.weakened]]
    assert sorted(said) == sorted(order.split())


def test_shares_of_findings(diagnoser: Diagnoser) -> None:
    """What is not known counts for nothing, what no rule touches in full."""
    raw = {
        "machine": CASE,
        "findings": [
            {"check": "relay-click", "outcome": "heard"},
            {"check": "fuse-look", "outcome": "not-known"},
        ],
    }
    checked = read_request(raw, diagnoser.knowledge)
    effects = effects_of(diagnoser.knowledge, CaseView({}), [])
    assert shares_of(effects, checked.findings) == (1.0, 0.0)


def test_context_shifts_multiply(knowledge: Knowledge) -> None:
    """Two context rules that shift the same cause multiply their factors."""
    shifting = {
        name: dict(pair for action in program.actions for pair in action.factors)
        for name, program in knowledge.programs.items()
    }
    rules = [name for name, factors in shifting.items() if factors]
    cause, (first, second) = next(
        (cause, (one, two))
        for one in rules
        for two in rules
        for cause in shifting[one]
        if one < two and cause in shifting[two]
    )
    effects = effects_of(knowledge, view(), [Firing(first, (), ()), Firing(second, (), ())])
    expected = shifting[first][cause] * shifting[second][cause]
    assert effects.shifts[cause] == pytest.approx(expected)
    assert effects.shifted_by[cause] == (first, second)


def test_each_of_two_brakes_is_diagnosed_by_itself(diagnoser: Diagnoser) -> None:
    """What was found on the left solenoid does not speak of the right one; what both share does."""
    dead = {"check": "pull-winding-ohms", "outcome": "open", "side": "left",
            "measured_to": "ground-pin"}  # fmt: skip
    good = {"check": "pull-current", "value": 29, "unit": "A", "side": "right"}
    shared = {"check": "battery-voltage-rest", "value": 12.6, "unit": "V", "side": "left"}
    answer = diagnoser.diagnose(
        {"machine": BRAKE, "findings": [dead, good, shared], "limit": 0, "on_hand": []}
    )
    assert set(answer["sides"]) == {"left", "right"}
    assert answer["side"] == "left"
    left, right = answer["sides"]["left"], answer["sides"]["right"]
    assert left["causes"][0]["id"] == answer["causes"][0]["id"] == "pull-winding-open"
    burned = next(one for one in right["causes"] if one["id"] == "pull-winding-open")
    assert burned["probability"] < 0.01
    used = {e["finding"] for one in right["causes"] for e in one["evidence"]}
    assert used <= {1, 2}


def test_a_machine_without_sides_has_no_sides(diagnoser: Diagnoser) -> None:
    """A request that names no side gets one answer."""
    answer = diagnoser.diagnose({"machine": BRAKE, "on_hand": []})
    assert "sides" not in answer


def test_models_are_kept(diagnoser: Diagnoser) -> None:
    """The model of a machine is built once and then kept, the same for equal machines."""
    first: Model = diagnoser.models.get(Machine(**CASE))
    assert diagnoser.models.get(Machine(**CASE)) is first
