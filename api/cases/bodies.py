"""What is sent to a case: one schema a body, that loads it, names its faults and documents it.

Machine, findings and what limits a diagnosis are fields of the engine's request: described by its
schema, checked by the engine with the rest of the case, and kept as they were sent.
"""

from collections.abc import Mapping
from contextlib import suppress
from copy import deepcopy
from datetime import UTC, datetime
from typing import Any

from marshmallow import ValidationError, fields, missing, validate, validates_schema

from api.cases import texts
from api.strict_json import Json
from engine import Fault, RequestError
from engine.knowledge.shapes import OneOf, StrictSchema, flatten
from engine.reasoning.request import (
    MAX_FINDINGS,
    FindingSchema,
    MachineSchema,
    RequestSchema,
    says,
)

MOST_FINDINGS = 1000  # withdrawn ones too; the engine takes 500 that count
MOST_MINUTES = 100_000
_LINE = r"^[^\u0000-\u001f\u007f-\u009f]*$"
_LINES = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$"


class TypedText(fields.String):
    """A text that a person types, kept to the letter; it may have several lines or one."""

    def __init__(self, description: str, most: int, lines: bool = False, **kwargs: Any) -> None:
        self.most, self.lines = most, lines
        pattern = _LINES if lines else _LINE
        about = {"description": description, "maxLength": most, "pattern": pattern}
        super().__init__(metadata=about, **kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> str:
        fault = texts.fault_of(value, self.most, self.lines)
        if fault:
            raise ValidationError(fault)
        return str(value)


class Moment(TypedText):
    """A moment with its zone, typed; loaded in UTC."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        text = super()._deserialize(value, *args, **kwargs)
        with suppress(ValueError, OverflowError):
            at = datetime.fromisoformat(text)
            if at.tzinfo:
                return at.astimezone(UTC)
        raise ValidationError("must be a moment with its zone, such as 2026-11-29T14:30:00Z")


class CallBack(Moment):
    """A moment to come or nothing, kept in UTC to the second, so that texts compare as times do."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> str:
        at = super()._deserialize(value, *args, **kwargs) if value != "" else None
        if at and at.year < 2000:
            raise ValidationError("must be a moment of this century")
        return at.strftime("%Y-%m-%dT%H:%M:%SZ") if at else ""


class _Object(fields.Nested):
    """An object that the engine checks."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        if not isinstance(value, Mapping):
            raise ValidationError("must be an object")
        return value


class CountedList(fields.List[Any]):
    """A list that is counted before anything in it is looked at: a body of junk has many."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> list[Any]:
        if isinstance(value, list):
            self._validate(value)
        return super()._deserialize(value, *args, **kwargs)


class _Findings(fields.List[Any]):
    """Findings that the engine checks; here they are counted."""

    def __init__(self, least: int, most: int, **kwargs: Any) -> None:
        about = says("The findings, in the order in which they were made.")
        some = "at least one finding, " if least else ""
        number = validate.Length(least, most, error=f"must be a list of {some}at most {most}")
        super().__init__(fields.Nested(FindingSchema), validate=number, metadata=about, **kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list | tuple):
            raise ValidationError("must be a list")
        self._validate(value)
        message = "must be an object with a check and what it showed"
        strange = [place for place, one in enumerate(value) if not isinstance(one, Mapping)]
        if strange:
            raise ValidationError({place: [message] for place in strange})
        return list(value)


def _as_sent(name: str, description: str) -> fields.Field[Any]:
    """Return a field of the engine's request that is documented here and checked there."""
    field = deepcopy(RequestSchema._declared_fields[name])
    field.metadata, field.allow_none, field.load_default = says(description), True, missing
    setattr(field, "_deserialize", lambda value, *_, **__: value)  # noqa: B010 - of this one alone
    setattr(field, "_validate", lambda _: None)  # noqa: B010
    return field


_BY = "Name of the person who says it; the name of the caller's key is put behind it."


class _BySchema(StrictSchema):
    what = "the body"
    by = TypedText(_BY, texts.NAME)


def _own(name: str, description: str, kind: type[TypedText] = TypedText) -> TypedText:
    """Return the field of one of a case's own texts; null clears it."""
    return kind(description, *texts.LIMITS[name], allow_none=True)


class _CaseSchema(_BySchema):
    """What a case says of itself in words, and what limits its diagnosis."""

    fleet_number = _own("fleet_number", "The machine's number in the fleet.")
    machine_type = _own("machine_type", "Type of machine, as people call it.")
    reference = _own("reference", "The shop's own number for the job, such as a work order.")
    complaint = _own("complaint", "What the caller complains of, in their words.")
    handed_to = _own("handed_to", "Who has the case now.")
    caller_name = _own("caller_name", "Who calls.")
    caller_phone = _own("caller_phone", "Number to call back.")
    caller_place = _own("caller_place", "Where the machine stands.")
    call_back_at = _own(
        "call_back_at", "When to call back, with its zone (RFC 3339); answered in UTC.", CallBack
    )
    on_hand = _as_sent("on_hand", "Kinds of check that can be done now; null is all.")
    excluded = _as_sent(
        "excluded", "Ids of causes that were put right, the complaint unchanged; null is none."
    )
    done = _as_sent(
        "done", "What was put right between findings; 'after' counts all findings of the case."
    )
    skill = _as_sent("skill", "Who does the steps: lay or trained; null is trained.")
    limit = _as_sent(
        "limit", "How many causes the diagnosis shows: 5 when nothing is said, 0 is all."
    )


class CaseOpeningSchema(_CaseSchema):
    """A case to be opened; only the machine is required."""

    what = "a case"
    machine = _Object(
        MachineSchema, required=True, metadata=says("The machine that the findings are about.")
    )
    findings = _Findings(0, MAX_FINDINGS)


class CaseChangesSchema(_CaseSchema):
    """What is to be changed (RFC 7396): a field that is left out stays, null clears one."""

    what = "what changes"
    machine = fields.Dict(
        keys=fields.String(),
        error_messages={"invalid": "must be an object"},
        metadata=says("Fields of the machine that change; null takes one out."),
    )


class FindingSentSchema(_BySchema, FindingSchema):
    """One finding to be added."""


class FindingListSentSchema(_BySchema):
    """Several findings, added in one step."""

    findings = _Findings(1, MOST_FINDINGS, required=True)


class WithBecauseSchema(_BySchema):
    """Why something is taken back."""

    because = TypedText("Why, in a sentence.", texts.BECAUSE, lines=True)


class LearningReviewSchema(StrictSchema):
    """Whether a closed case, or every case that one key closed, is learned from."""

    what = "a review"
    number = TypedText("Number of the case.", 20)
    key = TypedText("Name of the key that closed the cases, as /v1/learning has it.", texts.NAME)
    counts = fields.String(
        required=True, validate=OneOf("word", ("yes", "no", "auto")),
        metadata=says("'auto': by the rules, which want findings that bear the cause out."),
    )  # fmt: skip

    @validates_schema
    def _one_of_two(self, data: Json, **_: Any) -> None:
        if ("number" in data) == ("key" in data):
            raise ValidationError("give number or key, one of the two", "number")


class CaseClosingSchema(_BySchema):
    """How the case ended."""

    what = "an outcome"
    cause = fields.String(
        required=True,
        metadata=says(
            "Id of the cause that was confirmed; 'healthy' when nothing was wrong, "
            "'outside' when it was not in this circuit, 'unknown' when it was never found."
        ),
    )
    replaced = CountedList(
        TypedText("One part.", texts.REPLACED),
        allow_none=True,
        validate=validate.Length(max=30, error="must be a list of at most 30 texts"),
        metadata=says("What was replaced."),
    )
    minutes = fields.Integer(
        strict=True,
        allow_none=True,
        validate=validate.Range(
            min=0, max=MOST_MINUTES, error=f"must be a whole number from 0 to {MOST_MINUTES}"
        ),
        metadata=says("Minutes of work."),
    )
    note = TypedText("Anything else.", texts.NOTE, lines=True, allow_none=True)


def read(schema: StrictSchema, sent: Any, faults: list[Fault]) -> dict[str, Any]:
    """Return what of a body is in order; its faults are added to ``faults``.

    A control character is refused wherever it stands. Raises RequestError for what is no object.
    """
    if not isinstance(sent, Mapping):
        raise RequestError([Fault("", f"{getattr(schema, 'what', 'the body')} is an object")])
    own = {name for name, field in schema.fields.items() if isinstance(field, TypedText)}
    faults += texts.hidden_controls({key: sent[key] for key in sent if key not in own}, "")
    try:
        loaded: dict[str, Any] = schema.load(dict(sent))
    except ValidationError as error:
        faults += flatten(error.messages)
        return dict(error.valid_data or {})
    return loaded


def load(schema: StrictSchema, sent: Any) -> dict[str, Any]:
    """Return the body as the schema loads it. Raises RequestError that carries every fault."""
    faults: list[Fault] = []
    loaded = read(schema, sent, faults)
    if faults:
        raise RequestError(faults)
    return loaded
