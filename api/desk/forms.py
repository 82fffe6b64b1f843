"""What was typed in the desk's forms, as the machine, findings and texts of a case.

What cannot be read is refused with the field named; the page shows it again with every value kept.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone

from werkzeug.datastructures import MultiDict

from api.cases.texts import LIMITS, fault_of
from api.desk.calls import SIDES, UNKNOWN
from api.interview.questions import Question, questions
from api.interview.readings import NotRead, leads_of, number_in, number_of, read_reading, unit_of
from api.interview.state import OF_THE_CALL
from api.strict_json import Json
from api.translation import gettext
from engine import Knowledge
from engine.knowledge import items
from engine.reasoning.request import NOT_KNOWN, OPEN

Form = MultiDict[str, str]
NOTE_LETTERS = 1000
DONT_KNOW = "0"
MACHINE_TEXTS = ("fleet_number", "machine_type", "reference", "complaint",
                 "caller_name", "caller_phone", "caller_place")  # fmt: skip
CALL_BACK = "call_back_at"
SETTINGS = {"hands": "on_hand", "skill": "skill"}  # question -> what the case calls it
_CHOICES = {"plug": ("fitted", "removed"), "moment": items.MOMENTS,
            "measured_to": ("body", "ground-pin"), "while": items.PROVOKED}  # fmt: skip


class FormFault(ValueError):  # noqa: N818 - the form is at fault, not the program
    """A form cannot be taken; ``faults`` are messages by the name of their field."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("; ".join(faults.values()))
        self.faults = dict(faults)


def asked() -> list[Question]:
    """Return the questions about the machine that are answered by choosing."""
    return [one for one in questions() if one.options and one.id != "audience"]


def numbers() -> list[Question]:
    """Return the questions about the machine that take a number."""
    return [one for one in questions() if one.number]


def field_of(question: Question) -> str:
    """Return the form's field of a question: two circuits ask of their control in their words."""
    duty = dict(question.needs).get("duty")
    return f"{question.id}-{duty}" if question.id == "control" else question.id


def machine_of(form: Form) -> tuple[Json, Json, dict[str, str]]:
    """Return machine, settings and texts of a case. Raises FormFault with every fault."""
    faults: dict[str, str] = {}
    known: dict[str, object] = {}
    for question in questions():
        name, typed = field_of(question), form.get(field_of(question), "").strip()
        keys = {one.key: one.value for one in question.options}
        if question not in asked() + numbers() or (typed in ("", DONT_KNOW) and keys):
            continue
        try:
            if typed in keys and question.applies(known):
                known[question.id] = keys[typed]
            elif typed and not keys:
                known[question.id] = number_in(typed, question.number)
            elif typed and question.applies(known):
                faults[name] = gettext("Choose one of the answers shown.")
        except NotRead as fault:
            faults[name] = str(fault)
    if "duty" not in known and "duty" not in faults:
        faults["duty"] = gettext("Choose what the trouble is with: the engine or the brake.")
    texts = _texts(form, faults)
    if faults:
        raise FormFault(faults)
    machine = {key: value for key, value in known.items() if key not in OF_THE_CALL}
    settings = {SETTINGS[key]: known[key] for key in SETTINGS if key in known}
    return {"control": UNKNOWN, "coil": UNKNOWN, **machine}, settings, texts


def _texts(form: Form, faults: dict[str, str]) -> dict[str, str]:
    found = {}
    for name in MACHINE_TEXTS:
        most, lines = LIMITS[name]
        found[name] = tidy(form.get(name, ""), lines)
        fault = fault_of(found[name], most, lines)
        if fault:
            faults[name] = gettext("This %(fault)s.", fault=fault)
    return found | {CALL_BACK: _call_back(form, faults)}


def _call_back(form: Form, faults: dict[str, str]) -> str:
    """Return when to call back, in UTC; nothing where no time was chosen.

    The page's script says how many minutes the browser's clock is ahead of UTC at that time;
    without it the time is this server's.
    """
    typed, ahead = form.get(CALL_BACK, "").strip(), form.get("zone", "")
    if not typed:
        return ""
    try:
        chosen = datetime.fromisoformat(typed).replace(tzinfo=None)
        minutes = int(ahead) if re.fullmatch(r"-?\d{1,3}", ahead, re.ASCII) else None
        zone = None if minutes is None else timezone(timedelta(minutes=minutes))
        at = chosen.replace(tzinfo=zone) if zone else chosen.astimezone()
        return at.astimezone(UTC).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError):
        faults[CALL_BACK] = gettext("Choose a day and a time, such as 2026-11-29 14:30.")
        return ""


def tidy(text: str, lines: bool) -> str:
    """Return a text as it is kept: one kind of line end, no blanks around it."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip()
    return text if lines else " ".join(text.split())


def side_of(machine: Json, form: Form) -> str | None:
    """Return the side that the form of a new call is about, the left one where it says none; None
    with one solenoid."""
    sides = dict(zip("12", SIDES, strict=True))
    return sides.get(form.get("side", ""), "left") if machine.get("solenoids") == 2 else None


def machine_form(machine: Json, settings: Json, texts: Mapping[str, str]) -> Form:
    """Return the form that shows a machine as it is known."""
    form: Form = MultiDict({name: texts.get(name, "") for name in MACHINE_TEXTS})
    kept = texts.get(CALL_BACK, "")  # the page's script shows it on the browser's clock
    form[CALL_BACK] = f"{datetime.fromisoformat(kept).astimezone():%Y-%m-%dT%H:%M}" if kept else ""
    form["call_back_utc"] = kept
    known = {**machine, **{key: settings.get(name) for key, name in SETTINGS.items()}}
    for question in asked():
        if question.applies(known):
            keys = [one.key for one in question.options if one.value == known.get(question.id)]
            form[field_of(question)] = keys[0] if keys else DONT_KNOW
    form.update({one.id: f"{machine[one.id]:g}" for one in numbers() if one.id in machine})
    return form


def finding_of(form: Form, check: str, knowledge: Knowledge) -> Json:
    """Return what was found in a check. Raises FormFault with every fault of the form."""
    item = knowledge.checks[check]
    faults: dict[str, str] = {}
    outcome = form.get("outcome", "")
    found: dict[str, object] = {"check": check}
    if outcome == NOT_KNOWN or item.outcomes is not None:
        found["outcome"] = outcome
        if outcome not in (*(item.outcomes.names if item.outcomes else ()), NOT_KNOWN):
            faults["outcome"] = gettext("Choose one of the answers.")
    else:
        assert item.reading is not None  # a check has outcomes or a reading
        found |= _value(form, item.reading, outcome, faults)
    if outcome != NOT_KNOWN:
        found |= _done(form, item, knowledge, faults)
    note = tidy(form.get("note", ""), lines=True)
    if fault := fault_of(note, NOTE_LETTERS, lines=True):
        faults["note"] = gettext("The note %(fault)s.", fault=fault)
    if faults:
        raise FormFault(faults)
    return found | ({"note": note} if note else {})


def _value(form: Form, asked_for: items.Reading, outcome: str, faults: dict[str, str]) -> Json:
    """Return the number and its unit; the unit may stand behind the number or be chosen."""
    typed = form.get("value", "").strip()
    if outcome == OPEN:
        return {"outcome": OPEN}
    try:
        reading = read_reading(typed.replace(";", " "), ()) if typed else None
    except NotRead as fault:
        faults["value"] = str(fault)
        return {}
    if reading is None:
        faults["value"] = gettext("Type what the meter shows, or press 'I don't know'.")
    elif not reading.is_open:
        chosen = form.get("unit", "") or asked_for.unit
        return {"value": reading.value, "unit": reading.unit or unit_of(chosen)}
    elif asked_for.quantity == "resistance":
        return {"outcome": OPEN}
    else:
        faults["value"] = gettext(
            "Over range is for ohms. Type what the meter shows in %(unit)s.", unit=asked_for.unit
        )
    return {}


def _done(form: Form, item: items.Check, knowledge: Knowledge, faults: dict[str, str]) -> Json:
    """Return how it was done: plug, moment, lead, what was provoked, heat, circumstances."""
    found: dict[str, object] = {}
    for name, allowed in _CHOICES.items():
        value = form.get(name, "")
        if value in allowed:
            found[name] = value
        elif value:
            faults[name] = gettext("Choose one of the answers shown.")
    tags = [one for one in form.getlist("circumstances") if one]
    if any(one not in knowledge.rows("circumstances") for one in tags):
        faults["circumstances"] = gettext("Choose from the remarks shown.")
    elif tags:
        found["circumstances"] = list(dict.fromkeys(tags))
    return {**found, **(_measures(form, faults) if item.reading is not None else {})}


def _measures(form: Form, faults: dict[str, str]) -> Mapping[str, float]:
    found = {"lead_ohms": 0.0} if form.get("leads_zeroed") else {}
    celsius = form.get("celsius", "").strip().removesuffix("C").removesuffix("°").strip()
    for name, typed, read, wanted in (
        ("lead_ohms", form.get("lead_ohms", "").strip(), leads_of,
         gettext("Type what the leads alone read, such as 0.2.")),
        ("celsius", celsius, number_of, gettext("Type degrees Celsius as a number, such as 60.")),
    ):  # fmt: skip
        try:
            if typed and name not in found:
                found[name] = read(typed)
        except NotRead:
            faults[name] = wanted
    return found


def filled(body: Json) -> Form:
    """Return the form that shows a finding as it was given."""
    form: Form = MultiDict({
        name: f"{body[name]:g}" if isinstance(body[name], (int, float)) else str(body[name])
        for name in ("outcome", "value", "unit", *_CHOICES, "lead_ohms", "celsius", "note")
        if name in body
    })  # fmt: skip
    form.setlist("circumstances", list(body.get("circumstances", ())))
    return form
