"""Two faults at once, and a single wild reading told apart from a second fault."""

from typing import Any

import pytest

from engine import diagnose

TIMED = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "body-ground"}
# A contact that does not close: fed, commanded, no voltage behind it, and a sound pull winding.
CONTACT = [
    {"check": "engine-response", "outcome": "cranks-no-start"},
    {"check": "relay-click", "outcome": "heard"},
    {"check": "relay-30-voltage", "value": 12.4, "unit": "V"},
    {"check": "relay-coil-voltage", "value": 12.2, "unit": "V"},
    {"check": "relay-87-voltage", "value": 0.1, "unit": "V"},
    {
        "check": "pull-winding-ohms", "value": 0.4, "unit": "ohm", "lead_ohms": 0.0,
        "measured_to": "body",
    },
]  # fmt: skip
# And a hold winding that is open by three different tests.
HOLD = [
    {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "body"},
    {"check": "hold-current", "value": 0.0, "unit": "A"},
    {"check": "hand-push-hold", "outcome": "drops"},
    {"check": "hold-pin-voltage", "value": 12.2, "unit": "V"},
]


def answer(findings: list[dict[str, Any]]) -> dict[str, Any]:
    """Diagnose the findings on the ignition-timed machine."""
    return diagnose({"machine": TIMED, "findings": findings})


def test_two_faults_are_named_with_the_findings_that_need_both() -> None:
    """A dead contact, dark at the pull pin too, and an open hold winding come out as a pair: either
    alone leaves two findings or more that it hardly predicts. The pair says what needed it."""
    dark = {"check": "lamp-at-pull-pin", "outcome": "dark"}
    fit = answer([*CONTACT, dark, *HOLD])["fit"]
    assert fit["verdict"] == "poor"
    assert fit["two_faults_probability"] > 0.5
    first = fit["pairs"][0]
    assert set(first["causes"]) == {"relay-contacts-open", "hold-winding-open"}
    assert first["told_apart_by"] is not None
    assert first["needed_for"]


def test_a_pair_is_told_apart_by_a_check_that_differs() -> None:
    """The check named reads differently under the two halves."""
    from engine.diagnosis import shipped
    from engine.physics.machine import Machine

    pair = answer(CONTACT + HOLD)["fit"]["pairs"][0]
    model = shipped().models.get(Machine(**TIMED))
    bins = model.predictions[pair["told_apart_by"]].bins
    rows = []
    for cause in pair["causes"]:
        mine = model.prior * (model.cause_of == model.causes.index(cause))
        rows.append(mine @ bins / mine.sum())
    assert abs(rows[0] - rows[1]).max() > 0.3


def test_one_wild_reading_is_to_be_repeated_not_a_second_fault() -> None:
    """A battery that reads 9.1 V at rest while 12.1 V reach the pull pin is a reading to repeat."""
    findings = [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "pull-pin-voltage", "value": 12.1, "unit": "V"},
        {"check": "pull-current", "value": 0.2, "unit": "A"},
        {"check": "ground-side-voltage", "value": 0.1, "unit": "V"},
        {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "body"},
        {"check": "battery-voltage-rest", "value": 9.1, "unit": "V"},
    ]
    fit = answer(findings)["fit"]
    assert fit["verdict"] == "strained"
    assert fit["two_faults_probability"] < 0.5
    assert fit["repeat"] == [5]
    assert fit["pairs"] == []


def test_a_good_fit_says_nothing_of_pairs() -> None:
    """Where one cause explains everything there is no talk of two."""
    assert answer(CONTACT)["fit"] == {"verdict": "good", "disagreeing": []}


@pytest.mark.parametrize("control", ["unknown", "ignition-timed"])
def test_pairs_are_weighed_where_control_and_coil_are_not_known(control: str) -> None:
    """Findings of one control type only do not trip the weighing of pairs."""
    machine = {**TIMED, "control": control, "coil": "unknown"}
    findings = [*CONTACT, *HOLD, {"check": "timer-output-voltage", "value": 12.0, "unit": "V"}]
    fit = diagnose({"machine": machine, "findings": findings})["fit"]
    assert 0.0 <= fit["two_faults_probability"] <= 1.0


def test_a_good_machine_whose_fuse_may_open_is_no_pair() -> None:
    """Beside a small fuse the healthy circuit stands twice among the pairs, and is none of them."""
    machine = {"duty": "brake-release", "control": "unknown", "coil": "unknown", "fuse_amps": 20}
    findings = [
        {"check": "ignition-output-voltage", "value": 46.2, "unit": "V"},
        {"check": "harness-pull-to-ground-ohms", "value": 9.4, "unit": "ohm"},
        {"check": "pull-pin-voltage-after", "value": 51.9, "unit": "V"},
    ]
    fit = diagnose({"machine": machine, "findings": findings})["fit"]
    assert fit["two_faults_probability"] < 0.5, "the good machine was weighed as a pair"
    assert fit["pairs"] == []
