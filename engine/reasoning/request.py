"""The request: its schema, its units, and what this machine can have. One gate for all doors."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from engine.knowledge import Fault, Knowledge, RequestError, items
from engine.knowledge.faults import unknown
from engine.knowledge.items import applies
from engine.knowledge.shapes import Loaded, Number, OneOf, StrictSchema, flatten
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
ALL, LEADING = "all", "leading"  # causes that come with their evidence
LEADING_CAUSES = 5  # how many lead: as many as an answer has where nothing is said
AS_STATED = ("lead_ohms", "measured_to", "celsius", "plug", "moment", "side")
TOLD = ("pull_ohms_from", "hold_ohms_from", "relay_switched", "hold_drive")


def says(words: str) -> dict[str, str]:
    """Return a field's metadata: what it means, as /openapi.json tells it."""
    return {"description": words}


NONE: Loaded = {"load_default": None, "allow_none": False}  # may be left out, but not be null


def _word(kind: str, known: Sequence[Any], words: str, **kwargs: Any) -> fields.Field[Any]:
    """Return a field for a member of a closed set."""
    made = partial(fields.Integer, strict=True) if isinstance(known[0], int) else fields.String
    return made(validate=OneOf(kind, known), metadata=says(words), **kwargs)


def _number(low: float, high: float, unit: str, words: str, **kwargs: Any) -> Number:
    message = f"must be from {low:g} to {high:g} {unit}; check the unit"
    limits = validate.Range(min=low, max=high, error=message)
    return Number(validate=limits, metadata=says(words), **kwargs)


class MachineSchema(StrictSchema):
    """The machine. Only duty, control and coil are required."""

    duty = _word(
        "duty", items.DUTIES, required=True,
        words="What the solenoid does: hold the fuel on, or keep the brake lock lifted.",
    )  # fmt: skip
    control = _word(
        "control", (*items.CONTROLS, "unknown"), required=True,
        words="What commands pull and hold; 'unknown' weighs all that the duty can have.",
    )  # fmt: skip
    coil = _word(
        "coil", (*items.COILS, "unknown"), required=True,
        words="How the windings are grounded; 'unknown' weighs both.",
    )  # fmt: skip
    system_volts = _word(
        "system_volts", items.SYSTEM_VOLTS, "System voltage in volts.", load_default=12
    )
    fuel_actuation = _word(
        "fuel_actuation", items.ACTUATIONS, **NONE,
        words="How a fuel solenoid reaches the fuel; decides what can be seen.",
    )  # fmt: skip
    fuse_amps = _number(1, 200, "A", "Rating of the pull feed fuse in amperes.", **NONE)
    pull_ohms = _number(
        0.02, 20, "ohm", "Good resistance of the pull winding at 20 C, in ohms.", **NONE
    )
    hold_ohms = _number(
        1, 2000, "ohm", "Good resistance of the hold winding at 20 C, in ohms.", **NONE
    )
    ambient_celsius = _number(
        -60, 90, "C", "Temperature around the machine in degrees Celsius.", **NONE
    )
    solenoids = _word("solenoids", (1, 2), "How many brake solenoids the machine has.", **NONE)
    pull_ohms_from = _word("pull_ohms_from", items.FIGURE_SOURCES, "Where pull_ohms is from.")
    hold_ohms_from = _word("hold_ohms_from", items.FIGURE_SOURCES, "Where hold_ohms is from.")
    relay_switched = _word(
        "relay_switched", items.RELAY_SIDES,
        "Which side of the relay coil is switched: terminal 86 (high) or 85 (low).",
    )  # fmt: skip
    hold_drive = _word(
        "hold_drive", items.HOLD_DRIVES, "Whether the hold is fed steadily or chopped."
    )

    @validates_schema
    def _fits(self, data: Loaded, **_: Any) -> None:
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
    def _names_a_figure(self, data: Loaded, **_: Any) -> None:
        for ohms in ("pull_ohms", "hold_ohms"):
            if f"{ohms}_from" in data and data.get(ohms) is None:
                raise ValidationError(f"says where {ohms} is from: give {ohms} too", f"{ohms}_from")


class MeterSchema(StrictSchema):
    """Accuracy of the meter used: percent of reading plus counts of its resolution."""

    percent = _number(
        0, 50, "%", "Accuracy, the part that is percent of the reading.", required=True
    )
    counts = _number(
        0, 1000, "counts", "Accuracy, the part that is counts of the last digit.", required=True
    )
    resolution = _number(
        1e-9, 1e6, "of the check's unit", required=True,
        words="The last digit, in the check's own unit (V, A, ohm or s).",
    )  # fmt: skip


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
    lead_ohms = _number(
        0, 5, "ohm", "Resistance of the test leads in ohms, when they were not zeroed."
    )
    measured_to = _word(
        "measured_to", ("ground-pin", "body"),
        "Where the other lead stood for ohms of a winding.",
    )  # fmt: skip
    celsius = _number(-60, 300, "C", "Temperature of the winding in degrees Celsius.")
    meter = fields.Nested(MeterSchema, metadata=says("Accuracy of the meter, when known."))
    plug = _word("plug", ("fitted", "removed"), "Whether the plug was on.")
    moment = _word("moment", items.MOMENTS, "When it was read.")
    side = _word("side", ("left", "right"), "Which of two brake solenoids.")
    circumstances = fields.List(
        fields.String(), validate=validate.Length(max=30),
        metadata=says("What else was so when it was read, as tags."),
    )  # fmt: skip
    note = fields.String(
        validate=validate.Length(max=2000), metadata=says("Anything else; it is not read.")
    )
    while_ = _word(
        "while", items.PROVOKED, "What was done to bring the fault on meanwhile.",
        data_key="while", attribute="while",
    )  # fmt: skip


class DoneSchema(StrictSchema):
    """What was put right: a cause, or a part in words; ``after`` is the finding before it."""

    cause = fields.String(metadata=says("Id of the cause that was put right; or"))
    part = fields.String(
        validate=validate.Length(min=1, max=100),
        metadata=says("the part that was repaired or replaced, in words."),
    )
    after = fields.Integer(
        strict=True, validate=validate.Range(min=-1),
        metadata=says(
            "Place of the last finding before it, from 0; -1 is before all, left out after all."
        ),
    )  # fmt: skip

    @validates_schema
    def _names_one(self, data: Loaded, **_: Any) -> None:
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
        fields.Nested(FindingSchema), load_default=list,
        validate=validate.Length(max=MAX_FINDINGS),
        metadata=says("What was asked, seen, tried or measured, in any order."),
    )  # fmt: skip
    on_hand = fields.List(
        fields.String(validate=OneOf("kind", items.KINDS)), **NONE,
        metadata=says(
            "Kinds of check that can be done now; all but 'recorder' when left out. "
            "Limits next_checks, not the reasoning."
        ),
    )  # fmt: skip
    excluded = fields.List(
        fields.String(), load_default=list,
        metadata=says("Ids of causes that were put right already, the complaint unchanged."),
    )  # fmt: skip
    done = fields.List(
        fields.Nested(DoneSchema), load_default=list,
        metadata=says("What was put right between findings; what it can have changed is dropped."),
    )  # fmt: skip
    skill = _word(
        "skill", (LAY, TRAINED), load_default=TRAINED,
        words="Who does the steps: 'lay' bars what needs a trained hand.",
    )  # fmt: skip
    limit = fields.Integer(
        strict=True, load_default=LEADING_CAUSES,
        validate=validate.Range(min=0, max=1000, error="must be 0 (all) to 1000"),
        metadata=says("How many causes to return; 0 is all."),
    )  # fmt: skip
    evidence = _word(
        "evidence", (ALL, LEADING), load_default=ALL,
        words="Which causes come with their evidence: 'leading' leaves it out behind the fifth. It "
        "is most of an answer with every cause.",
    )  # fmt: skip


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
    evidence: str = ALL
    done: tuple[Done, ...] = ()
    skill: str = TRAINED
    told: Mapping[str, str] = field(default_factory=dict)


_SCHEMA = RequestSchema()
Read = tuple[str | None, float | None, str | None, str]  # outcome, value, unit, as stated


def read_request(raw: object, knowledge: Knowledge) -> Request:
    """Check a request against schema and knowledge; raises RequestError with every fault."""
    if not isinstance(raw, Mapping):
        raise RequestError([Fault("", "a request is an object with machine and findings")])
    faults = _too_long(raw)
    if faults:
        raise RequestError(faults)
    return _Gate(raw, knowledge).request()


class _Gate:
    """One request as it is read. Every fault is noted, so that one answer names them all."""

    def __init__(self, raw: Mapping[str, Any], knowledge: Knowledge) -> None:
        self.knowledge, self.shaped = knowledge, raw.get("findings", [])
        self.faults: list[Fault] = []
        try:
            data: Any = _SCHEMA.load(raw)
        except ValidationError as error:
            self.faults += flatten(error.messages)
            data = error.valid_data
        self.data: Loaded = data if isinstance(data, dict) else {}
        self.machine: Loaded = self.data.get("machine", {})

    def fault(self, path: str, message: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(path, message))

    def request(self) -> Request:
        """Return the request; raises RequestError with every fault."""
        findings = self._findings()
        for number, name in enumerate(self.data.get("excluded", ())):
            if name not in self.knowledge.causes:
                message = unknown("cause", name, self.knowledge.causes)
                self.fault(f"excluded[{number}]", message)
        done = self._done(len(_listed(self.shaped)))
        if self.faults:
            raise RequestError(self.faults)
        machine, data = dict(self.machine), self.data
        solenoids = machine.pop("solenoids")
        told = {name: machine.pop(name) for name in TOLD if name in machine}
        machine |= self._build(told, findings)
        on_hand = data["on_hand"]
        return Request(
            Machine(**machine), solenoids, tuple(findings),
            None if on_hand is None else tuple(on_hand), data["limit"], tuple(data["excluded"]),
            data["evidence"], tuple(done), data["skill"], told,
        )  # fmt: skip

    def _build(self, told: Mapping[str, str], findings: Sequence[Finding]) -> dict[str, str]:
        """Return how it is taken to be built: as usual where nothing read depends on it."""
        circuits = self.knowledge.circuits_of(self.machine["duty"], self.machine["control"])
        read = {one.check for one in findings if one.outcome != NOT_KNOWN}
        found = {}
        for name, (usual, _) in items.BUILDS.items():
            ways = [one.otherwise(name) for one in circuits]
            shown = {check for way in ways if way for check in way.shown_by}
            said = told.get(name, "unknown")
            found[name] = usual if said == "unknown" and shown.isdisjoint(read) else said
        return found

    def _done(self, findings: int) -> list[Done]:
        """Read what was put right; without ``after`` it was done after every finding."""
        found, known = [], self.knowledge.causes
        for number, one in enumerate(self.data.get("done", ())):
            path, cause = f"done[{number}]", one.get("cause")
            if not isinstance(cause, str) and not isinstance(one.get("part"), str):
                continue  # its shape is faulted already
            after = one.get("after", findings - 1)
            if after >= findings and "after" in one:
                self.fault(f"{path}.after", f"counts findings from 0; there are {findings}")
            if cause is None:
                causes = causes_of_part(one["part"], self.knowledge)
            else:
                causes = (cause,) if cause in known else ()
            if not causes and cause is not None:
                self.fault(f"{path}.cause", unknown("cause", cause, known))
            elif not causes:
                parts = sorted({word for one in known.values() for word in _part(one)})
                self.fault(f"{path}.part", unknown("part", one["part"], parts))
            else:
                found.append(Done(causes, one.get("part") or known[cause].name, after))
        return found

    def _findings(self) -> list[Finding]:
        """Read the findings that have the right shape; note what else is wrong with each."""
        bad = {one.path.split(".")[0] for one in self.faults if one.path.startswith("findings[")}
        found = []
        for index, one in enumerate(_listed(self.shaped)[:MAX_FINDINGS]):
            path = f"findings[{index}]"
            if path in bad or not isinstance(one, Mapping):
                if isinstance(one, Mapping):
                    self._check(one.get("check"), path)
                continue
            before = len(self.faults)
            finding = self._finding(index, one, path)
            if len(self.faults) == before and finding is not None:
                found.append(finding)
        return found

    def _check(self, name: object, path: str) -> items.Check | None:
        """Return the check; note a fault when there is none or the machine cannot have it."""
        if not isinstance(name, str):
            return None
        check, machine = self.knowledge.checks.get(name), self.machine
        if check is None:
            self.fault(f"{path}.check", unknown("check", name, self.knowledge.checks))
        elif {"duty", "control", "coil"} <= set(machine) and not self._can_have(check):
            facts = (machine["duty"], machine["control"], machine["coil"],
                     machine.get("fuel_actuation"))  # fmt: skip
            what = ", ".join(one for one in facts if one)
            self.fault(f"{path}.check", f"'{name}' cannot be done on this machine ({what})")
        return check

    def _can_have(self, check: items.Check) -> bool:
        """Return whether some circuit and coil style that the machine may have has the check."""
        machine = self.machine
        facts = {key: machine.get(key) for key in ("coil", "system_volts", "fuel_actuation")}
        if machine["coil"] == "unknown":
            del facts["coil"]
        return any(
            applies(check.applies, circuit=circuit, **facts)
            for circuit in self.knowledge.circuits_of(machine["duty"], machine["control"])
        )

    def _finding(self, index: int, one: Mapping[str, Any], path: str) -> Finding | None:
        check = self._check(one["check"], path)
        for number, tag in enumerate(one.get("circumstances", ())):
            tags = self.knowledge.rows("circumstances")
            if tag not in tags:
                self.fault(f"{path}.circumstances[{number}]", unknown("circumstance", tag, tags))
        if one.get("side") is not None and self.machine.get("duty") == "fuel-shutoff":
            self.fault(f"{path}.side", "only brake-release machines have two solenoids")
        if one.get("side") is not None and self.machine.get("solenoids") == 1:
            self.fault(f"{path}.side", "the machine is said to have one solenoid")
        if check is None:
            return None
        read = (
            self._outcome(one, check, path)
            if check.reading is None
            else self._value(one, check.reading, path)
        )
        if read is None:
            return None
        meter = one.get("meter")
        stated: Loaded = {key: one.get(key) for key in AS_STATED}
        return Finding(
            index, check.id, *read,
            meter=None if meter is None else Instrument(**{k: float(v) for k, v in meter.items()}),
            circumstances=tuple(one.get("circumstances", ())), provoked=one.get("while"),
            **stated,
        )  # fmt: skip

    def _outcome(self, one: Mapping[str, Any], check: items.Check, path: str) -> Read | None:
        assert check.outcomes is not None
        names = (*check.outcomes.names, NOT_KNOWN)
        before = len(self.faults)
        for key in ("value", "unit", "lead_ohms", "celsius", "meter"):
            if key in one:
                self.fault(f"{path}.{key}", f"'{check.id}' has an outcome ({', '.join(names)})")
        outcome = one.get("outcome")
        if "outcome" not in one:
            self.fault(f"{path}.outcome", f"is missing: one of {', '.join(names)}")
        elif outcome not in names:
            self.fault(f"{path}.outcome", unknown(f"outcome of {check.id}", outcome, names))
        if len(self.faults) > before:
            return None
        return outcome, None, None, check.outcomes.words.get(str(outcome), "not known")

    def _value(self, one: Mapping[str, Any], reading: items.Reading, path: str) -> Read | None:
        if "outcome" in one:
            return self._over_range(one, reading, path)
        if "value" not in one:
            self.fault(f"{path}.value", f"is missing: a number in {reading.unit}")
            return None
        word = one.get("unit")
        if word not in UNIT_WORDS or UNIT_WORDS[word][0] != reading.unit:
            self.fault(f"{path}.unit", _unit_message(word, reading.unit))
            return None
        value, stated = float(one["value"]) * UNIT_WORDS[word][1], f"{one['value']:g} {word}"
        if reading.unit in ("ohm", "s") and value < 0:
            name = "resistance" if reading.unit == "ohm" else "time"
            self.fault(f"{path}.value", f"a {name} is not negative")
        elif not math.isfinite(value) or not reading.low <= value <= reading.high:
            limits = f"{reading.low:g} to {reading.high:g} {reading.unit}"
            message = f"{stated} is outside what this check can read ({limits}): "
            self.fault(f"{path}.value", message + "check number and unit")
        return None, value, reading.unit, stated

    def _over_range(self, one: Mapping[str, Any], reading: items.Reading, path: str) -> Read | None:
        """Read the word that stands in place of a number."""
        allowed = (NOT_KNOWN, OPEN) if reading.unit == "ohm" else (NOT_KNOWN,)
        word = one["outcome"]
        if "value" in one:
            self.fault(f"{path}.outcome", "give a value or an outcome, not both")
            return None
        if word not in allowed:
            hint = unknown("outcome", word, allowed)
            self.fault(f"{path}.outcome", f"{hint}: a reading takes a value in {reading.unit}")
            return None
        return word, None, reading.unit, "over range (open)" if word == OPEN else "not known"


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


def _listed(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _unit_message(word: object, unit: str) -> str:
    usual = [name for name, (base, _) in UNIT_WORDS.items() if base == unit and name.isascii()]
    if word is None:
        return f"is missing: {unit} (or {', '.join(usual[1:])})"
    if word in UNIT_WORDS:
        return f"'{word}' does not fit: this check reads {unit}"
    return unknown("unit", word, usual) + f": this check reads {unit}"
