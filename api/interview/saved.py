"""An interview in a file: JSON with a version; when it is read, every fault has its place."""

import json
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from marshmallow import Schema, ValidationError, fields, validate

from api.interview.desk import Desk
from api.interview.questions import question, questions, settings
from api.interview.record import fault_places
from api.interview.session import MAX_WORDS
from api.interview.state import Entry, EntryKind, State
from engine.knowledge.faults import Fault, FaultsError, unknown
from engine.knowledge.items import KINDS
from engine.knowledge.shapes import OneOf, flatten

VERSION = 1
MAX_ANSWERS = 1000


class SavedError(FaultsError):
    """A saved interview cannot be used; each fault names its place in the file."""


class _EntrySchema(Schema):
    """One answer."""

    kind = fields.String(required=True, validate=OneOf("kind", get_args(EntryKind)))
    key = fields.String(load_default="")
    value = fields.Raw(load_default=None, allow_none=True)
    side = fields.String(load_default=None, validate=OneOf("side", ("left", "right")))


class _FileSchema(Schema):
    """The whole file."""

    threewire_interview = fields.Integer(
        required=True, strict=True,
        validate=validate.Equal(VERSION, error=f"this threewire reads version {VERSION}"),
    )  # fmt: skip
    knowledge_version = fields.String(required=True)
    answers = fields.List(
        fields.Nested(_EntrySchema), required=True,
        validate=validate.Length(max=MAX_ANSWERS, error=f"at most {MAX_ANSWERS} answers"),
    )  # fmt: skip


def dump(state: State, knowledge_version: str) -> str:
    """Return the file's text; half surrogates and control characters come out escaped."""
    document = {
        "threewire_interview": VERSION,
        "knowledge_version": knowledge_version,
        "answers": [_plain(one) for one in state.entries],
    }
    return json.dumps(document, indent=1) + "\n"


def _plain(entry: Entry) -> dict[str, Any]:
    found: dict[str, Any] = {"kind": entry.kind}
    if entry.key:
        found["key"] = entry.key
    if entry.kind in ("machine", "finding"):
        found["value"] = entry.value
    if entry.side:
        found["side"] = entry.side
    return found


def load(document: object, desk: Desk) -> tuple[State, str]:
    """Return the state in a file's data, and the knowledge that it was made with.

    Raises SavedError carrying every fault with its place, such as ``answers[3].value.unit``.
    """
    if not isinstance(document, Mapping):
        raise SavedError([Fault("", "a saved interview is an object with answers")])
    try:
        data: Any = _FileSchema().load(document)
    except ValidationError as error:
        raise SavedError(flatten(error.messages)) from None
    entries = [Entry(**one) for one in data["answers"]]
    faults = [fault for n, one in enumerate(entries) for fault in _faults(n, one, desk)]
    has_duty = any(one.kind == "machine" and one.key == "duty" for one in entries)
    if not has_duty and any(one.kind != "machine" for one in entries):
        faults.append(Fault("answers", "the answer 'duty' is missing: findings rest on it"))
    if not faults:
        faults = list(_engine_faults(entries, desk))
    if faults:
        raise SavedError(faults)
    while entries and entries[-1].kind == "stop":
        entries.pop()  # whoever resumes goes on
    return State(tuple(entries)), str(data["knowledge_version"])


def _faults(place: int, entry: Entry, desk: Desk) -> Iterator[Fault]:
    """Yield what is wrong with one answer by itself."""
    path = f"answers[{place}]"
    if entry.kind == "machine":
        message = _machine_fault(entry)
        if message:
            yield Fault(f"{path}.{'value' if _known(entry.key) else 'key'}", message)
        return
    checks, causes = desk.knowledge.checks, desk.knowledge.causes
    if entry.kind in ("finding", "skip"):
        if entry.key not in checks:
            yield Fault(f"{path}.key", unknown("check", entry.key, checks))
        elif entry.kind == "finding" and not isinstance(entry.value, dict):
            yield Fault(f"{path}.value", "a finding is an object with check and outcome or value")
        elif entry.kind == "finding" and entry.value.get("check") != entry.key:
            yield Fault(f"{path}.value.check", f"must be '{entry.key}', as in key")
    elif entry.key not in causes and not _free(entry):
        yield Fault(f"{path}.key", unknown("cause", entry.key, causes))


def _free(entry: Entry) -> bool:
    """Return whether an answer is about no cause."""
    return entry.kind == "stop" or (entry.kind, entry.key) == ("decline", "control")


def _known(field: str) -> bool:
    return any(one.id == field for one in questions())


def _machine_fault(entry: Entry) -> str | None:
    """Return what is wrong with an answer about the machine, or None."""
    if not _known(entry.key):
        return unknown("question", entry.key, [one.id for one in questions()])
    value = entry.value
    if value is None:
        return "is missing" if entry.key == "duty" else None
    if entry.key == "hands":
        right = isinstance(value, list) and value and all(one in KINDS for one in value)
        return None if right else f"must be a list of any of {', '.join(KINDS)}, or null"
    if entry.key == "label":
        right = isinstance(value, str) and len(value) <= MAX_WORDS
        return None if right else f"must be text of at most {MAX_WORDS} characters"
    return _value_fault(entry.key, value)


def _value_fault(field: str, value: Any) -> str | None:
    """Return what is wrong with a number or a choice, or None."""
    if field.replace("_", "-") in settings():
        right = isinstance(value, (int, float)) and not isinstance(value, bool)
        return None if right else "must be a number"
    allowed = [one.value for q in questions() if q.id == field for one in q.options]
    if type(value) in (str, int) and value in allowed:
        return None
    return unknown(question(field, {}).name.lower(), value, map(str, allowed))


def _engine_faults(entries: list[Entry], desk: Desk) -> Iterator[Fault]:
    """Yield what the engine finds wrong with the case as a whole, at the answer it is about."""
    for place, field, message in fault_places(entries, desk):
        inner = f".value.{field}" if field else ".value"
        yield Fault("answers" if place is None else f"answers[{place}]{inner}", message)
