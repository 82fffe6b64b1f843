"""The request: its schema, its units, and what this machine can have. One gate for all doors."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from engine.knowledge import Fault, Knowledge, RequestError, items
from engine.knowledge.faults import unknown
from engine.knowledge.items import applies
from engine.knowledge.shapes import Number, OneOf, StrictSchema, flatten, members
from engine.physics.machine import Machine
from engine.physics.prediction import Instrument

MAX_FINDINGS = 500
MAX_ENTRIES = {
    "findings": MAX_FINDINGS, "on_hand": 20, "excluded": 100, "done": 100, "circumstances": 30,
}  # fmt: skip
PREFIXES = {"": 1.0, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}
UNIT_WORDS = {
    f"{prefix}{unit}": (unit, factor) for unit in items.UNITS for prefix, factor in PREFIXES.items()
} | {"Ω": ("ohm", 1.0), "kΩ": ("ohm", 1e3), "MΩ": ("ohm", 1e6), "mΩ": ("ohm", 1e-3)}
NOT_KNOWN, OPEN = "not-known", "open"
LAY, TRAINED = "lay", "trained"
TOLD = ("pull_ohms_from", "hold_ohms_from", "relay_switched", "hold_drive")


def says(words: str) -> dict[str, str]:
    """Return a field's metadata: what it means, as /openapi.json tells it."""
    return {"description": words}


def _within(low: float, high: float, unit: str) -> validate.Range:
    return validate.Range(
        min=low, max=high, error=f"must be from {low:g} to {high:g} {unit}; check the unit"
    )


class MachineSchema(StrictSchema):
    """The machine. Only duty, control and coil are required."""

    duty = fields.String(
        required=True,
        validate=OneOf("duty", items.DUTIES),
        metadata=says("What the solenoid does: hold the fuel on, or keep the brake lock lifted."),
    )
    control = fields.String(
        required=True,
        validate=OneOf("control", (*items.CONTROLS, "unknown")),
        metadata=says("What commands pull and hold; 'unknown' weighs all that the duty can have."),
    )
    coil = fields.String(
        required=True,
        validate=OneOf("coil", (*items.COILS, "unknown")),
        metadata=says("How the windings are grounded; 'unknown' weighs both."),
    )
    system_volts = fields.Integer(
        strict=True,
        load_default=12,
        validate=OneOf("system_volts", items.SYSTEM_VOLTS),
        metadata=says("System voltage in volts."),
    )
    fuel_actuation = fields.String(
        load_default=None,
        allow_none=False,
        validate=OneOf("fuel_actuation", items.ACTUATIONS),
        metadata=says("How a fuel solenoid reaches the fuel; decides what can be seen."),
    )
    fuse_amps = Number(
        load_default=None,
        allow_none=False,
        validate=_within(1, 200, "A"),
        metadata=says("Rating of the pull feed fuse in amperes."),
    )
    pull_ohms = Number(
        load_default=None,
        allow_none=False,
        validate=_within(0.02, 20, "ohm"),
        metadata=says("Good resistance of the pull winding at 20 C, in ohms."),
    )
    hold_ohms = Number(
        load_default=None,
        allow_none=False,
        validate=_within(1, 2000, "ohm"),
        metadata=says("Good resistance of the hold winding at 20 C, in ohms."),
    )
    ambient_celsius = Number(
        load_default=None,
        allow_none=False,
        validate=_within(-60, 90, "C"),
        metadata=says("Temperature around the machine in degrees Celsius."),
    )
    solenoids = fields.Integer(
        strict=True,
        load_default=None,
        allow_none=False,
        validate=OneOf("solenoids", (1, 2)),
        metadata=says("How many brake solenoids the machine has."),
    )
    pull_ohms_from = fields.String(
        validate=OneOf("pull_ohms_from", items.FIGURE_SOURCES),
        metadata=says("Where pull_ohms is from."),
    )
    hold_ohms_from = fields.String(
        validate=OneOf("hold_ohms_from", items.FIGURE_SOURCES),
        metadata=says("Where hold_ohms is from."),
    )
    relay_switched = fields.String(
        validate=OneOf("relay_switched", items.RELAY_SIDES),
        metadata=says("Which side of the relay coil is switched: terminal 86 (high) or 85 (low)."),
    )
    hold_drive = fields.String(
        validate=OneOf("hold_drive", items.HOLD_DRIVES),
        metadata=says("Whether the hold is fed steadily or chopped."),
    )

    @validates_schema
    def _fits(self, data: dict[str, Any], **_: Any) -> None:
        duty, control = data.get("duty"), data.get("control")
        if duty == "fuel-shutoff" and control == "controller-on-request":
            raise ValidationError(
                "a fuel-shutoff has ignition-timed or controller-on-crank", "control"
            )
        if duty == "brake-release" and control == "controller-on-crank":
            raise ValidationError(
                "a brake-release has ignition-timed or controller-on-request", "control"
            )
        if duty == "brake-release" and data.get("fuel_actuation") is not None:
            raise ValidationError("only a fuel-shutoff has one", "fuel_actuation")

    @validates_schema
    def _names_a_figure(self, data: dict[str, Any], **_: Any) -> None:
        for ohms in ("pull_ohms", "hold_ohms"):
            if f"{ohms}_from" in data and data.get(ohms) is None:
                raise ValidationError(f"says where {ohms} is from: give {ohms} too", f"{ohms}_from")


class MeterSchema(StrictSchema):
    """Accuracy of the meter used: percent of reading plus counts of its resolution."""

    percent = Number(
        required=True,
        validate=_within(0, 50, "%"),
        metadata=says("Accuracy, the part that is percent of the reading."),
    )
    counts = Number(
        required=True,
        validate=_within(0, 1000, "counts"),
        metadata=says("Accuracy, the part that is counts of the last digit."),
    )
    resolution = Number(
        required=True,
        validate=_within(1e-9, 1e6, "of the check's unit"),
        metadata=says("The last digit, in the check's own unit (V, A, ohm or s)."),
    )


class FindingSchema(StrictSchema):
    """One finding: a check with an outcome, or with a value and its unit."""

    check = fields.String(required=True, metadata=says("Id of the check; see /v1/checks."))
    outcome = fields.String(
        metadata=says(
            "One of the check's outcomes; 'not-known' for any check, "
            "and 'open' for ohms over range."
        )
    )
    value = Number(metadata=says("The reading, in the unit beside it."))
    unit = fields.String(metadata=says("Unit of the value; SI prefixes are taken (mV, mA, kohm)."))
    lead_ohms = Number(
        validate=_within(0, 5, "ohm"),
        metadata=says("Resistance of the test leads in ohms, when they were not zeroed."),
    )
    measured_to = fields.String(
        validate=OneOf("measured_to", ("ground-pin", "body")),
        metadata=says("Where the other lead stood for ohms of a winding."),
    )
    celsius = Number(
        validate=_within(-60, 300, "C"),
        metadata=says("Temperature of the winding in degrees Celsius."),
    )
    meter = fields.Nested(MeterSchema, metadata=says("Accuracy of the meter, when known."))
    plug = fields.String(
        validate=OneOf("plug", ("fitted", "removed")), metadata=says("Whether the plug was on.")
    )
    moment = fields.String(
        validate=OneOf("moment", items.MOMENTS), metadata=says("When it was read.")
    )
    side = fields.String(
        validate=OneOf("side", ("left", "right")), metadata=says("Which of two brake solenoids.")
    )
    circumstances = fields.List(
        fields.String(),
        validate=validate.Length(max=30),
        metadata=says("What else was so when it was read, as tags."),
    )
    note = fields.String(
        validate=validate.Length(max=2000), metadata=says("Anything else; it is not read.")
    )
    while_ = fields.String(
        data_key="while",
        attribute="while",
        validate=OneOf("while", items.PROVOKED),
        metadata=says("What was done to bring the fault on meanwhile."),
    )


class DoneSchema(StrictSchema):
    """What was put right: a cause, or a part in words; ``after`` is the finding before it."""

    cause = fields.String(metadata=says("Id of the cause that was put right; or"))
    part = fields.String(
        validate=validate.Length(min=1, max=100),
        metadata=says("the part that was repaired or replaced, in words."),
    )
    after = fields.Integer(
        strict=True,
        validate=validate.Range(min=-1),
        metadata=says(
            "Place of the last finding before it, from 0; -1 is before all, left out after all."
        ),
    )

    @validates_schema
    def _names_one(self, data: dict[str, Any], **_: Any) -> None:
        if ("cause" in data) == ("part" in data):
            raise ValidationError("names either a cause or a part")


class RequestSchema(StrictSchema):
    """A diagnosis request.

    ``excluded`` are causes put right before everything that was found, the complaint unchanged;
    ``done`` what was put right between findings.
    """

    machine = fields.Nested(
        MachineSchema, required=True, metadata=says("The machine that the findings are about.")
    )
    findings = fields.List(
        fields.Nested(FindingSchema),
        load_default=list,
        validate=validate.Length(max=MAX_FINDINGS),
        metadata=says("What was asked, seen, tried or measured, in any order."),
    )
    on_hand = members(
        "kind",
        items.KINDS,
        load_default=None,
        allow_none=False,
        metadata=says(
            "Kinds of check that can be done now; all when left out. "
            "Limits next_checks, not the reasoning."
        ),
    )
    excluded = fields.List(
        fields.String(),
        load_default=list,
        metadata=says("Ids of causes that were put right already, the complaint unchanged."),
    )
    done = fields.List(
        fields.Nested(DoneSchema),
        load_default=list,
        metadata=says("What was put right between findings; what it can have changed is dropped."),
    )
    skill = fields.String(
        load_default=TRAINED,
        validate=OneOf("skill", (LAY, TRAINED)),
        metadata=says("Who does the steps: 'lay' bars what needs a trained hand."),
    )
    limit = fields.Integer(
        strict=True,
        load_default=5,
        validate=validate.Range(min=0, max=1000, error="must be 0 (all) to 1000"),
        metadata=says("How many causes to return; 0 is all."),
    )


@dataclass(frozen=True)
class Finding:
    """A finding, checked, its value in the check's own unit."""

    index: int
    check: str
    outcome: str | None
    value: float | None
    unit: str | None
    stated: str
    lead_ohms: float | None = None
    measured_to: str | None = None
    celsius: float | None = None
    meter: Instrument | None = None
    plug: str | None = None
    moment: str | None = None
    side: str | None = None
    circumstances: tuple[str, ...] = ()
    provoked: str | None = None  # what was done to bring the fault on: ``while``


@dataclass(frozen=True)
class Done:
    """What was put right: the causes that it ends, in whose words, and the finding before it."""

    causes: tuple[str, ...]
    words: str
    after: int


@dataclass(frozen=True)
class Request:
    """A request, checked; ``told`` is what was said of the machine that only rules read."""

    machine: Machine
    solenoids: int | None
    findings: tuple[Finding, ...]
    on_hand: tuple[str, ...] | None
    limit: int
    excluded: tuple[str, ...]
    done: tuple[Done, ...] = ()
    skill: str = TRAINED
    told: Mapping[str, str] = field(default_factory=dict)


_SCHEMA = RequestSchema()


def read_request(raw: Any, knowledge: Knowledge) -> Request:
    """Check a request against schema and knowledge; raises RequestError with every fault."""
    if not isinstance(raw, Mapping):
        raise RequestError([Fault("", "a request is an object with machine and findings")])
    faults = _too_long(raw)
    if faults:
        raise RequestError(faults)
    data: Any = {}
    try:
        data = _SCHEMA.load(raw)
    except ValidationError as error:
        faults = flatten(error.messages)
        data = error.valid_data
    found = _findings(raw, data, knowledge, faults)
    for number, name in enumerate(data.get("excluded", ()) if isinstance(data, dict) else ()):
        if name not in knowledge.causes:
            message = unknown("cause", name, knowledge.causes)
            faults.append(Fault(f"excluded[{number}]", message))
    done = _done(data, len(_listed(raw.get("findings"))), knowledge, faults)
    if faults:
        raise RequestError(faults)
    machine = dict(data["machine"])
    solenoids = machine.pop("solenoids")
    told = {name: machine.pop(name) for name in TOLD if name in machine}
    on_hand = data["on_hand"]
    return Request(
        Machine(**machine), solenoids, tuple(found),
        None if on_hand is None else tuple(on_hand), data["limit"], tuple(data["excluded"]),
        tuple(done), data["skill"], told,
    )  # fmt: skip


def _done(data: Any, findings: int, knowledge: Knowledge, faults: list[Fault]) -> list[Done]:
    """Read what was put right; without ``after`` it was done after every finding."""
    found = []
    for number, one in enumerate(data.get("done", ()) if isinstance(data, dict) else ()):
        path, cause = f"done[{number}]", one.get("cause")
        if not isinstance(cause, str) and not isinstance(one.get("part"), str):
            continue  # its shape is faulted already
        after = one.get("after", findings - 1)
        if after >= findings and "after" in one:
            message = f"counts findings from 0; there are {findings}"
            faults.append(Fault(f"{path}.after", message))
        if cause is None:
            causes = causes_of_part(one["part"], knowledge)
        else:
            causes = (cause,) if cause in knowledge.causes else ()
        if not causes and cause is not None:
            faults.append(Fault(f"{path}.cause", unknown("cause", cause, knowledge.causes)))
        elif not causes:
            parts = sorted({word for known in knowledge.causes.values() for word in _part(known)})
            faults.append(Fault(f"{path}.part", unknown("part", one["part"], parts)))
        else:
            found.append(Done(causes, one.get("part") or knowledge.causes[cause].name, after))
    return found


def causes_of_part(words: str, knowledge: Knowledge) -> tuple[str, ...]:
    """Return the causes that lie in a part: those whose id and section share most of its words.

    Their names decide between equals. What a new part brings with it is never ended by one.
    """
    wanted = set(_words(words))
    met = {
        name: (len(wanted & _part(cause)), len(wanted & {*_words(cause.name)}))
        for name, cause in knowledge.causes.items() if not cause.brought_by_new_part
    }  # fmt: skip
    most = max(met.values(), default=(0, 0))
    return tuple(name for name, times in met.items() if times == most and times[0])


def _words(text: str) -> list[str]:
    return [word for word in re.findall("[a-z]+", text.lower()) if len(word) > 2]


def _part(cause: items.Cause) -> set[str]:
    """Return the words by which the part of a cause is called."""
    return {*_words(cause.id), cause.section}


def _too_long(raw: Mapping[str, Any]) -> list[Fault]:
    """Return faults of lists that are too long, before any word in them is looked at."""
    lists = {"": raw} | {
        f"findings[{place}].": one
        for place, one in enumerate(_listed(raw.get("findings"))[:MAX_FINDINGS])
        if isinstance(one, Mapping)
    }
    return [
        Fault(f"{path}{key}", f"has {len(_listed(holder.get(key)))} entries; at most {most}")
        for path, holder in lists.items()
        for key, most in MAX_ENTRIES.items()
        if len(_listed(holder.get(key))) > most
    ]


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _findings(
    raw: Mapping[str, Any], data: Any, knowledge: Knowledge, faults: list[Fault]
) -> list[Finding]:
    """Read the findings that have the right shape; note what else is wrong with each."""
    shaped = raw.get("findings", [])
    if not isinstance(shaped, list):
        return []
    bad = {fault.path.split(".")[0] for fault in faults if fault.path.startswith("findings[")}
    machine = data.get("machine", {}) if isinstance(data, dict) else {}
    found = []
    for index, one in enumerate(shaped[:MAX_FINDINGS]):
        path = f"findings[{index}]"
        if path in bad or not isinstance(one, Mapping):
            if isinstance(one, Mapping):
                _check_faults(one.get("check"), machine, knowledge, path, faults)
            continue
        before = len(faults)
        finding = _finding(index, one, machine, knowledge, faults)
        if len(faults) == before and finding is not None:
            found.append(finding)
    return found


def _check_faults(
    name: Any, machine: Mapping[str, Any], knowledge: Knowledge, path: str, faults: list[Fault]
) -> items.Check | None:
    """Return the check; note a fault when there is none or the machine cannot have it."""
    check = knowledge.checks.get(name) if isinstance(name, str) else None
    if check is None:
        if isinstance(name, str):
            faults.append(Fault(f"{path}.check", unknown("check", name, knowledge.checks)))
        return None
    if {"duty", "control", "coil"} <= set(machine) and not _can_have(check, machine, knowledge):
        what = f"{machine['duty']}, {machine['control']}, {machine['coil']}"
        if machine.get("fuel_actuation"):
            what += f", {machine['fuel_actuation']}"
        faults.append(Fault(f"{path}.check", f"'{name}' cannot be done on this machine ({what})"))
    return check


def _can_have(check: items.Check, machine: Mapping[str, Any], knowledge: Knowledge) -> bool:
    """Return whether some circuit and coil style that the machine may have has the check."""
    return any(
        applies(
            check.applies,
            circuit=circuit,
            coil=None if machine["coil"] == "unknown" else machine["coil"],
            system_volts=machine.get("system_volts"),
            fuel_actuation=machine.get("fuel_actuation"),
        )
        for circuit in knowledge.circuits.values()
        if circuit.duty == machine["duty"] and machine["control"] in (circuit.control, "unknown")
    )


def _finding(
    index: int, one: Mapping[str, Any], machine: Mapping[str, Any], knowledge: Knowledge,
    faults: list[Fault],
) -> Finding | None:  # fmt: skip
    path = f"findings[{index}]"
    check = _check_faults(one["check"], machine, knowledge, path, faults)
    for number, tag in enumerate(one.get("circumstances", ())):
        tags = knowledge.rows("circumstances")
        if tag not in tags:
            message = unknown("circumstance", tag, tags)
            faults.append(Fault(f"{path}.circumstances[{number}]", message))
    if one.get("side") is not None and machine.get("duty") == "fuel-shutoff":
        faults.append(Fault(f"{path}.side", "only brake-release machines have two solenoids"))
    if one.get("side") is not None and machine.get("solenoids") == 1:
        faults.append(Fault(f"{path}.side", "the machine is said to have one solenoid"))
    if check is None:
        return None
    if check.reading is None:
        read = _read_outcome(one, check, path, faults)
    else:
        read = _read_value(one, check.reading, path, faults)
    if read is None:
        return None
    outcome, value, unit, stated = read
    meter = one.get("meter")
    return Finding(
        index, check.id, outcome, value, unit, stated,
        lead_ohms=one.get("lead_ohms"), measured_to=one.get("measured_to"),
        celsius=one.get("celsius"),
        meter=None if meter is None else Instrument(**{k: float(v) for k, v in meter.items()}),
        plug=one.get("plug"), moment=one.get("moment"), side=one.get("side"),
        circumstances=tuple(one.get("circumstances", ())), provoked=one.get("while"),
    )  # fmt: skip


Read = tuple[str | None, float | None, str | None, str]


def _read_outcome(
    one: Mapping[str, Any], check: items.Check, path: str, faults: list[Fault]
) -> Read | None:
    assert check.outcomes is not None
    names = (*check.outcomes.names, NOT_KNOWN)
    before = len(faults)
    faults += [
        Fault(f"{path}.{key}", f"'{check.id}' has an outcome ({', '.join(names)})")
        for key in ("value", "unit", "lead_ohms", "celsius", "meter")
        if key in one
    ]
    if "outcome" not in one:
        faults.append(Fault(f"{path}.outcome", f"is missing: one of {', '.join(names)}"))
    elif one["outcome"] not in names:
        faults.append(
            Fault(f"{path}.outcome", unknown(f"outcome of {check.id}", one["outcome"], names))
        )
    if len(faults) > before:
        return None
    return one["outcome"], None, None, check.outcomes.words.get(one["outcome"], "not known")


def _read_value(
    one: Mapping[str, Any], reading: items.Reading, path: str, faults: list[Fault]
) -> Read | None:
    allowed = (NOT_KNOWN, OPEN) if reading.unit == "ohm" else (NOT_KNOWN,)
    if "outcome" in one:
        return _read_word(one, reading, allowed, path, faults)
    if "value" not in one:
        faults.append(Fault(f"{path}.value", f"is missing: a number in {reading.unit}"))
        return None
    word = one.get("unit")
    if word not in UNIT_WORDS or UNIT_WORDS[word][0] != reading.unit:
        faults.append(Fault(f"{path}.unit", _unit_message(word, reading.unit)))
        return None
    value = float(one["value"]) * UNIT_WORDS[word][1]
    if reading.unit in ("ohm", "s") and value < 0:
        name = "resistance" if reading.unit == "ohm" else "time"
        faults.append(Fault(f"{path}.value", f"a {name} is not negative"))
    elif not math.isfinite(value) or not reading.low <= value <= reading.high:
        faults.append(
            Fault(
                f"{path}.value",
                f"{one['value']:g} {word} is outside what this check can read "
                f"({reading.low:g} to {reading.high:g} {reading.unit}): check number and unit",
            )
        )
    return None, value, reading.unit, f"{one['value']:g} {word}"


def _read_word(
    one: Mapping[str, Any], reading: items.Reading, allowed: tuple[str, ...], path: str,
    faults: list[Fault],
) -> Read | None:  # fmt: skip
    if "value" in one:
        faults.append(Fault(f"{path}.outcome", "give a value or an outcome, not both"))
        return None
    if one["outcome"] not in allowed:
        hint = unknown("outcome", one["outcome"], allowed)
        faults.append(
            Fault(f"{path}.outcome", f"{hint}: a reading takes a value in {reading.unit}")
        )
        return None
    return (
        one["outcome"],
        None,
        reading.unit,
        ("over range (open)" if one["outcome"] == OPEN else "not known"),
    )


def _unit_message(word: Any, unit: str) -> str:
    usual = [name for name, (base, _) in UNIT_WORDS.items() if base == unit and name.isascii()]
    if word is None:
        return f"is missing: {unit} (or {', '.join(usual[1:])})"
    if word in UNIT_WORDS:
        return f"'{word}' does not fit: this check reads {unit}"
    return unknown("unit", word, usual) + f": this check reads {unit}"
