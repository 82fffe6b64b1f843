"""A fault that comes and goes: what a good reading is worth, and what the case says of it."""

from typing import Any

import numpy as np
import pytest

from engine.diagnosis import Diagnoser
from engine.reasoning.belief import share_at_times
from engine.reasoning.request import read_request

MACHINE = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
GOOD = {"check": "pull-pin-voltage", "value": 12.0, "unit": "V"}


def _contact(diagnoser: Diagnoser, pattern: str, **how: Any) -> float:
    """Return the chance of an open relay contact after good volts at the pull pin."""
    findings = [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "plunger-action", "outcome": "no-movement"},
        {"check": "failure-pattern", "outcome": pattern},
        GOOD | how,
    ]
    answer = diagnoser.diagnose({"machine": MACHINE, "findings": findings, "limit": 0})
    chances = {one["id"]: one["probability"] for one in answer["causes"]}
    chance: float = chances["relay-contacts-open"]
    return chance


def test_a_good_reading_clears_a_contact_that_fails_always_and_not_one_that_fails_at_times(
    diagnoser: Diagnoser,
) -> None:
    """Common practice, no source: a fault that is away when somebody measures reads good. Read
    while the relay is shaken, a good reading counts nearly in full again."""
    always, at_times = (_contact(diagnoser, one) for one in ("always", "random"))
    shaken = _contact(diagnoser, "random", **{"while": "shaken"})
    assert always < 0.002
    assert at_times > 0.01
    assert always < shaken < at_times / 3


def test_nothing_changes_where_the_fault_would_read_the_same_as_a_good_circuit(
    diagnoser: Diagnoser,
) -> None:
    """Winding ohms say the same of a broken wire whether it is broken just then or not."""
    findings = [{"check": "pull-winding-ohms", "value": 0.36, "unit": "ohm",
                 "measured_to": "ground-pin"},
                {"check": "failure-pattern", "outcome": "random"}]  # fmt: skip
    request = {"machine": MACHINE | {"pull_ohms": 0.36}, "findings": findings}
    belief = diagnoser.belief(read_request(request, diagnoser.knowledge))
    wire = [one.cause == "pull-wire-open" for one in belief.model.hypotheses]
    terms = belief.sometimes.terms[0, wire], belief.always.terms[0, wire]
    assert terms[0] == pytest.approx(terms[1])


def test_what_the_case_says_moves_the_odds_and_no_fault_that_stays(diagnoser: Diagnoser) -> None:
    """Odds of twice leave a share s at 2s / (1 + s), and a burned coil or a blown fuse at 0."""
    belief = diagnoser.belief(
        read_request({"machine": MACHINE, "findings": []}, diagnoser.knowledge)
    )
    model = belief.model
    share = model.comes_and_goes
    assert share_at_times(model, 2.0) == pytest.approx(2 * share / (1 + share))
    stays = np.array([one.fuse_opened or one.cause == "pull-winding-shorted"
                      for one in model.hypotheses])  # fmt: skip
    assert stays.any()
    assert not share[stays].any()
    assert share[~stays].any()


def test_a_winding_that_draws_its_current_is_not_open_where_nobody_said_it_comes_and_goes(
    diagnoser: Diagnoser,
) -> None:
    """27 A and a quiet ground were read: neither is a fault that was away by chance."""
    findings = [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "pull-pin-voltage", "value": 12.4, "unit": "V"},
        {"check": "ground-side-voltage", "value": 0.2, "unit": "V"},
        {"check": "pull-current", "value": 27, "unit": "A"},
        {"check": "plunger-action", "outcome": "no-movement"},
    ]
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
    answer = diagnoser.diagnose({"machine": machine, "findings": findings, "limit": 0})
    told = {one["id"]: one["probability"] for one in answer["causes"]}
    assert max(told[one] for one in ("ground-open", "ground-resistive")) < 0.01
    assert told["pull-winding-open"] < 0.1 < told["plunger-binding"]
