"""The gate for requests: what is refused, where, in which words; and what is taken."""

import copy
from collections.abc import Callable, Mapping
from typing import Any

import pytest

import engine
from engine.diagnosis import Diagnoser
from engine.knowledge import Fault, Knowledge, RequestError, items
from engine.reasoning.request import MAX_FINDINGS, Request, read_request

CRANK = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
BRAKE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
VOLTS = {"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}
OHMS = {"check": "pull-winding-ohms", "value": 0.4, "unit": "ohm"}
CLICK = {"check": "relay-click", "outcome": "heard"}


@pytest.fixture(scope="module")
def refused(knowledge: Knowledge) -> Callable[[Any], list[Fault]]:
    """Give a function that returns the faults of a bad request."""

    def faults(raw: Any) -> list[Fault]:
        with pytest.raises(RequestError) as caught:
            read_request(raw, knowledge)
        return caught.value.faults

    return faults


def request(*findings: Mapping[str, Any], **machine: Any) -> dict[str, Any]:
    """Return a request about a crank-controlled fuel shut-off."""
    return {"machine": {**CRANK, **machine}, "findings": list(findings)}


MACHINE = [
    # what is changed in the machine, path behind "machine.", message
    ({"duty": "fuel-shutof"}, "duty", "unknown duty 'fuel-shutof' (did you mean 'fuel-shutoff'?)"),
    ({"control": "on-crank"}, "control",
     "unknown control 'on-crank' (did you mean 'controller-on-crank'?)"),
    ({"coil": "body"}, "coil",
     "unknown coil 'body' (one of: case-ground, body-ground, unknown)"),
    ({"duty": None}, "duty", "must not be empty (null)"),
    ({"duty": 5}, "duty", "must be text"),
    ({"control": "controller-on-request"}, "control",
     "a fuel-shutoff has ignition-timed or controller-on-crank"),
    ({"system_volts": 48}, "system_volts", "unknown system_volts '48' (one of: 12, 24)"),
    ({"system_volts": "12"}, "system_volts", "must be a whole number"),
    ({"system_volts": True}, "system_volts", "must be a whole number"),
    ({"pull_ohms": -0.3}, "pull_ohms", "must be from 0.02 to 20 ohm; check the unit"),
    ({"pull_ohms": 400}, "pull_ohms", "must be from 0.02 to 20 ohm; check the unit"),
    ({"hold_ohms": 0}, "hold_ohms", "must be from 1 to 2000 ohm; check the unit"),
    ({"hold_ohms": float("nan")}, "hold_ohms", "must be a finite number"),
    ({"fuse_amps": float("inf")}, "fuse_amps", "must be a finite number"),
    ({"fuse_amps": "30"}, "fuse_amps", "must be a number, not '30'"),
    ({"fuse_amps": 10**400}, "fuse_amps", "is too large a number"),
    ({"ambient_celsius": 400}, "ambient_celsius", "must be from -60 to 90 C; check the unit"),
    ({"fuel_actuation": "top-plunger"}, "fuel_actuation",
     "unknown fuel_actuation 'top-plunger' (did you mean 'top-plunge'?)"),
    ({"solenoids": 3}, "solenoids", "unknown solenoids '3' (one of: 1, 2)"),
    ({"colour": "yellow"}, "colour",
     "is not a field here (did you mean 'coil'?); known here: duty, control, coil, "
     "system_volts, fuel_actuation, fuse_amps, pull_ohms, hold_ohms, ambient_celsius, solenoids, "
     "pull_ohms_from, hold_ohms_from, relay_switched, hold_drive"),
    ({"fuse_amp": 30}, "fuse_amp",
     "is not a field here (did you mean 'fuse_amps'?); known here: duty, control, coil, "
     "system_volts, fuel_actuation, fuse_amps, pull_ohms, hold_ohms, ambient_celsius, solenoids, "
     "pull_ohms_from, hold_ohms_from, relay_switched, hold_drive"),
]  # fmt: skip
FINDING = [
    # finding, path behind "findings[0]", start of the message
    ({"check": "pull-volts", "value": 1, "unit": "V"}, ".check",
     "unknown check 'pull-volts' (did you mean 'pull-pin-voltage'?)"),
    ({"check": "x" * 5000, "outcome": "y"}, ".check", "unknown check 'xxx"),
    ({"check": ["pull-pin-voltage"], "value": 1, "unit": "V"}, ".check", "must be text"),
    ({"value": 1, "unit": "V"}, ".check", "is missing"),
    ("heard", "", "must be a mapping of names to values"),
    ({**VOLTS, "unit": "A"}, ".unit", "'A' does not fit: this check reads V"),
    ({**VOLTS, "unit": "volt"}, ".unit", "unknown unit 'volt'"),
    ({**VOLTS, "unit": 5}, ".unit", "must be text"),
    ({"check": "pull-pin-voltage", "value": 1}, ".unit", "is missing: V (or "),
    ({"check": "pull-pin-voltage"}, ".value", "is missing: a number in V"),
    ({**VOLTS, "value": "11,4"}, ".value", "must be a number, not '11,4'"),
    ({**VOLTS, "value": float("nan")}, ".value", "must be a finite number"),
    ({**VOLTS, "value": float("-inf")}, ".value", "must be a finite number"),
    ({**VOLTS, "value": True}, ".value", "must be a number, not True"),
    ({**VOLTS, "value": None}, ".value", "must not be empty (null)"),
    ({**VOLTS, "value": 11400}, ".value", "11400 V is outside what this check can read"),
    ({**VOLTS, "value": 11.4, "unit": "kV"}, ".value", "11.4 kV is outside"),
    ({**OHMS, "value": -0.1}, ".value", "a resistance is not negative"),
    ({"check": "pull-pulse-seconds", "value": -1, "unit": "s"}, ".value", "a time is not negative"),
    ({"check": "pull-pin-voltage", "outcome": "low"}, ".outcome",
     "unknown outcome 'low' (one of: not-known): a reading takes a value in V"),
    ({"check": "pull-pin-voltage", "outcome": "open"}, ".outcome", "unknown outcome 'open'"),
    ({**VOLTS, "outcome": "not-known"}, ".outcome", "give a value or an outcome, not both"),
    ({"check": "relay-click", "value": 1, "unit": "V"}, ".outcome", "is missing: one of heard"),
    ({**CLICK, "value": 1}, ".value", "'relay-click' has an outcome (heard, not-heard, not-known)"),
    ({**CLICK, "lead_ohms": 0.2}, ".lead_ohms", "'relay-click' has an outcome"),
    ({"check": "relay-click", "outcome": "herd"}, ".outcome",
     "unknown outcome of relay-click 'herd' (did you mean 'heard'?)"),
    ({"check": "relay-click", "outcome": "open"}, ".outcome", "unknown outcome of relay-click"),
    ({**OHMS, "lead_ohms": 50}, ".lead_ohms", "must be from 0 to 5 ohm; check the unit"),
    ({**OHMS, "celsius": -300}, ".celsius", "must be from -60 to 300 C; check the unit"),
    ({**OHMS, "measured_to": "frame"}, ".measured_to", "unknown measured_to 'frame'"),
    ({**OHMS, "plug": "off"}, ".plug", "unknown plug 'off'"),
    ({**OHMS, "moment": "cranking"}, ".moment",
     "unknown moment 'cranking' (did you mean 'crank'?)"),
    ({**OHMS, "meter": {"percent": 1}}, ".meter.counts", "is missing"),
    ({**OHMS, "meter": {"percent": -1, "counts": 1, "resolution": 0.1}}, ".meter.percent",
     "must be from 0 to 50 %; check the unit"),
    ({**OHMS, "meter": {"percent": 1, "counts": 1, "resolution": 0}}, ".meter.resolution",
     "must be from 1e-09 to 1e+06"),
    ({**OHMS, "circumstances": ["warm"]}, ".circumstances[0]", "unknown circumstance 'warm'"),
    ({**OHMS, "circumstances": "cold"}, ".circumstances", "must be a list"),
    ({**OHMS, "volts": 3}, ".volts", "is not a field here"),
    ({**OHMS, "side": "left"}, ".side", "only brake-release machines have two solenoids"),
    ({"check": "release-signal-voltage", "value": 1, "unit": "V"}, ".check",
     "'release-signal-voltage' cannot be done on this machine (fuel-shutoff, controller-on-crank"),
    ({"check": "brake-response", "outcome": "drags"}, ".check",
     "'brake-response' cannot be done on this machine"),
    ({"check": "ignition-output-voltage", "value": 1, "unit": "V"}, ".check",
     "'ignition-output-voltage' cannot be done on this machine"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "path", "message"), MACHINE)
def test_a_wrong_machine(
    change: dict[str, Any], path: str, message: str, refused: Callable[[Any], list[Fault]]
) -> None:
    """A machine field that is wrong is named with its path, and the nearest right word."""
    assert Fault(f"machine.{path}", message) in refused(request(**change))


@pytest.mark.parametrize(
    ("finding", "path", "message"), FINDING, ids=[f"{n}{one[1]}" for n, one in enumerate(FINDING)]
)
def test_a_wrong_finding(
    finding: Any, path: str, message: str, refused: Callable[[Any], list[Fault]]
) -> None:
    """One thing wrong in a finding is one fault, at its own path."""
    faults = refused(request(CLICK, finding))
    assert f"findings[1]{path}" in {fault.path for fault in faults}
    text = next(fault.message for fault in faults if fault.path == f"findings[1]{path}")
    assert text.startswith(message)
    assert len(text) < 400


@pytest.mark.parametrize(
    ("raw", "path"),
    [
        (None, ""), ([], ""), ("request", ""), (5, ""),
        ({}, "machine"), ({"findings": []}, "machine"), ({"machine": []}, "machine"),
        ({"machine": CRANK, "findings": {}}, "findings"),
        ({"machine": CRANK, "findings": None}, "findings"),
        ({"machine": CRANK, "limit": -1}, "limit"), ({"machine": CRANK, "limit": 1001}, "limit"),
        ({"machine": CRANK, "limit": 2.5}, "limit"), ({"machine": CRANK, "limit": "5"}, "limit"),
        ({"machine": CRANK, "limit": True}, "limit"),
        ({"machine": CRANK, "on_hand": ["hammer"]}, "on_hand[0]"),
        ({"machine": CRANK, "on_hand": "meter"}, "on_hand"),
        ({"machine": CRANK, "excluded": ["fuse-opn"]}, "excluded[0]"),
        ({"machine": CRANK, "finding": []}, "finding"),
    ],
)  # fmt: skip
def test_a_wrong_request(raw: Any, path: str, refused: Callable[[Any], list[Fault]]) -> None:
    """A request that is not an object, or has a wrong part, says which."""
    assert path in {fault.path for fault in refused(raw)}


@pytest.mark.parametrize(
    ("machine", "message"),
    [
        ({**BRAKE, "control": "controller-on-crank"},
         "a brake-release has ignition-timed or controller-on-request"),
        ({**BRAKE, "fuel_actuation": "in-block"}, "only a fuel-shutoff has one"),
    ],
)  # fmt: skip
def test_a_brake_has_no_crank_control_and_no_fuel_lever(
    machine: dict[str, Any], message: str, refused: Callable[[Any], list[Fault]]
) -> None:
    """A control type or actuation that the duty cannot have is refused in so many words."""
    assert [fault.message for fault in refused({"machine": machine})] == [message]


def test_every_fault_comes_at_once(refused: Callable[[Any], list[Fault]]) -> None:
    """Eight faults in machine, findings and options are reported together, sorted by place."""
    faults = refused({
        "machine": {**CRANK, "coil": "body-grounded", "pull_ohms": 400},
        "findings": [
            {"check": "pull-volts", "value": 1, "unit": "V"},
            CLICK,
            {**VOLTS, "value": float("nan")},
            {"check": "relay-click", "outcome": "herd"},
            {**OHMS, "unit": "V"},
        ],
        "on_hand": ["hammer"],
        "excluded": ["fuse-opn"],
    })  # fmt: skip
    assert [fault.path for fault in faults] == [
        "excluded[0]", "findings[0].check", "findings[2].value", "findings[3].outcome",
        "findings[4].unit", "machine.coil", "machine.pull_ohms", "on_hand[0]",
    ]  # fmt: skip
    nearest = [fault.message for fault in faults if "did you mean" in fault.message]
    assert len(nearest) >= 4


def test_a_finding_with_two_faults_shows_both(refused: Callable[[Any], list[Fault]]) -> None:
    """An unknown check does not hide the wrong attribute beside it."""
    faults = refused(request({"check": "pull-volts", "value": "x", "unit": "V", "plug": "off"}))
    assert {fault.path for fault in faults} == {
        "findings[0].check", "findings[0].value", "findings[0].plug"
    }  # fmt: skip


def test_how_many_findings_are_taken(
    knowledge: Knowledge, refused: Callable[[Any], list[Fault]]
) -> None:
    """No finding is legal, 200 and 500 are; 501 are refused before any of them is looked at."""
    for count in (0, 200, MAX_FINDINGS):
        assert len(read_request(request(*[CLICK] * count), knowledge).findings) == count
    (fault,) = refused(request(*[{"check": "nonsense"}] * 501))
    assert fault == Fault("findings", "has 501 entries; at most 500")


@pytest.mark.parametrize(
    ("value", "unit", "volts"),
    [(11.4, "V", 11.4), (11400, "mV", 11.4), (0.0114, "kV", 11.4), (0, "V", 0.0),
     (-0.02, "V", -0.02)],
)  # fmt: skip
def test_prefixes_of_units(value: float, unit: str, volts: float, knowledge: Knowledge) -> None:
    """Millivolts and kilovolts are volts times a thousandth and a thousand; zero is a reading."""
    (found,) = read_request(request({**VOLTS, "value": value, "unit": unit}), knowledge).findings
    assert found.value == pytest.approx(volts)
    assert found.stated == f"{value:g} {unit}"


@pytest.mark.parametrize(
    ("value", "unit", "ohms"),
    [(400, "mohm", 0.4), (0.4, "Ω", 0.4), (400, "mΩ", 0.4), (0.0004, "kohm", 0.4),
     (1.5, "MΩ", 1.5e6), (0, "ohm", 0.0)],
)  # fmt: skip
def test_ohms_by_word_and_by_sign(
    value: float, unit: str, ohms: float, knowledge: Knowledge
) -> None:
    """Ohms may be written out or with the sign, with either prefix."""
    (found,) = read_request(request({**OHMS, "value": value, "unit": unit}), knowledge).findings
    assert found.value == pytest.approx(ohms)


def test_what_is_left_out_is_taken_as_usual(knowledge: Knowledge) -> None:
    """Duty, control and coil are enough: 12 V, five causes, no findings, everything at hand."""
    found = read_request({"machine": CRANK}, knowledge)
    assert isinstance(found, Request)
    assert (found.machine.system_volts, found.limit) == (12, 5)
    assert (found.findings, found.on_hand, found.excluded) == ((), None, ())


@pytest.mark.parametrize("control", [*items.CONTROLS, "unknown"])
@pytest.mark.parametrize("duty", items.DUTIES)
def test_what_the_gate_lets_through_the_model_has(
    duty: str, control: str, knowledge: Knowledge, diagnoser: Diagnoser
) -> None:
    """The gate takes 'not-known' for exactly the checks that the machine's model predicts, also
    when the control is not known; and 'open' for those in ohms."""
    machine = {"duty": duty, "control": control, "coil": "case-ground"}
    try:
        checked = read_request({"machine": machine}, knowledge)
    except RequestError:
        return
    model = diagnoser.models.get(checked.machine)
    for name in knowledge.checks:
        raw: Any = {"machine": machine, "findings": [{"check": name, "outcome": "not-known"}]}
        if name in model.predictions:
            read_request(raw, knowledge)
            if knowledge.checks[name].reading and knowledge.checks[name].reading.unit == "ohm":
                raw["findings"][0]["outcome"] = "open"
                read_request(raw, knowledge)
        else:
            with pytest.raises(RequestError, match="cannot be done on this machine"):
                read_request(raw, knowledge)


def test_a_request_is_not_changed_by_reading_it(knowledge: Knowledge) -> None:
    """The caller's own data stays as it was."""
    raw = request(VOLTS, {**OHMS, "circumstances": ["cold"]}, system_volts=24)
    before = copy.deepcopy(raw)
    read_request(raw, knowledge)
    assert raw == before


def test_side_needs_two_solenoids(refused: Callable[[Any], list[Fault]]) -> None:
    """On a brake machine said to have one solenoid, a finding cannot belong to a side."""
    machine = {**BRAKE, "solenoids": 1}
    faults = refused({"machine": machine, "findings": [{**CLICK, "side": "left"}]})
    assert faults == [Fault("findings[0].side", "the machine is said to have one solenoid")]


def test_what_is_told_of_the_machine_is_kept_for_the_rules(knowledge: Knowledge) -> None:
    """Where a figure is from, how relay and hold are driven, and what was shaken, are kept."""
    told = {"hold_ohms_from": "twin", "relay_switched": "low", "hold_drive": "chopped"}
    raw = request({**VOLTS, "while": "shaken"}, hold_ohms=18, **told)
    read = read_request(raw, knowledge)
    assert read.told == told
    assert read.findings[0].provoked == "shaken"
    assert read.skill == "trained"


def test_where_a_figure_is_from_needs_the_figure(refused: Callable[[Any], list[Fault]]) -> None:
    """No ohms are from a plate that says none."""
    faults = refused(request(VOLTS, pull_ohms_from="plate"))
    assert [one.path for one in faults] == ["machine.pull_ohms_from"]


def test_evidence_on_the_leading_causes_alone() -> None:
    """Every cause is there, as likely as before; behind the fifth nothing is said of why."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    asked = {"machine": machine, "limit": 0, "findings": [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}]}  # fmt: skip
    whole, leading = engine.diagnose(asked), engine.diagnose({**asked, "evidence": "leading"})
    assert all(one["evidence"] for one in whole["causes"][:5])
    assert any(one["evidence"] for one in whole["causes"][5:])
    for one in whole["causes"][5:]:
        one["evidence"] = []
    assert leading == whole
