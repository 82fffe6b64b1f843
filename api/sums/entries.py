"""The fields of the sums: what may be typed, within which limits, and how each says so itself.

A sum's inputs are one dataclass whose fields say what they take. Its schema (``schema_of``) serves
every door: it refuses, it explains (``fields_of``), it stands in /openapi.json (``json_schema``).
"""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate

from api.strict_json import Json
from engine.answer.documents import Document
from engine.knowledge import Fault, RequestError
from engine.knowledge.shapes import Loaded, Number, OneOf, StrictSchema, flatten
from engine.reasoning.effects import KNOWN

OPEN = "open"
ENTRY = "entry"  # where a dataclass field keeps the marshmallow field that reads it
LOW_CELSIUS, HIGH_CELSIUS = -60.0, 300.0

Field = fields.Field[Any]


class OhmsOrOpen(Number):
    """A number of ohms, or the word 'open' for a reading over range."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        if value == OPEN:
            return OPEN
        if isinstance(value, str):
            raise ValidationError(
                f"must be a number, or '{OPEN}' for over range; not {value!r:.40}"
            )
        return super()._deserialize(value, *args, **kwargs)

    def _validate(self, value: Any) -> None:
        if value != OPEN:
            super()._validate(value)


def quantity(what: str, unit: str, low: float, high: float, default: float | None = None) -> Any:
    """Return a field that may be left out, for a number of ``unit`` from ``low`` to ``high``."""
    within = _range(low, high, unit)
    return _entry(Number, within, what, unit, load_default=default, allow_none=False)


def needed(what: str, unit: str, low: float, high: float) -> Any:
    """Return a field that must be given, for a number of ``unit`` from ``low`` to ``high``."""
    return _entry(Number, _range(low, high, unit), what, unit, required=True)


def celsius(what: str, default: float = 20.0) -> Any:
    """Return a field that may be left out, for the temperature of copper."""
    return quantity(what, "C", LOW_CELSIUS, HIGH_CELSIUS, default)


def ohms_or_open(what: str, high: float) -> Any:
    """Return a required field for ohms up to ``high``, or the word 'open'."""
    return _entry(OhmsOrOpen, _range(0.0, high, "ohm"), what, "ohm", required=True)


def choice(what: str, known: Sequence[Any], default: Any = None, unit: str = "",
           required: bool = False) -> Any:  # fmt: skip
    """Return a field for one word, or one number, of a closed set."""
    left_out = {"required": True} if required else {"load_default": default, "allow_none": False}
    if isinstance(known[0], str):
        return _entry(fields.String, OneOf("word", known), what, unit, **left_out)
    listed = ", ".join(f"{one:g}" for one in known)
    one_of = validate.OneOf(known, error=f"must be one of {listed} {unit}".rstrip())
    return _entry(Number, one_of, what, unit, **left_out)


def _range(low: float, high: float, unit: str) -> validate.Range:
    words = f"must be from {low:g} to {high:g} {unit}".rstrip() + "; check the unit"
    return validate.Range(min=low, max=high, error=words)


def _entry(kind: type[Field], within: validate.Validator, what: str, unit: str, **when: Any) -> Any:
    """Return a dataclass field that carries the marshmallow field which reads it."""
    made = kind(validate=within, metadata={"description": what, "unit": unit}, **when)
    return dataclasses.field(metadata={ENTRY: made})


def schema_of(inputs: type[Any]) -> Schema:
    """Return the schema of a dataclass whose fields were made by the functions above."""
    entries = {one.name: one.metadata[ENTRY] for one in dataclasses.fields(inputs)}
    return StrictSchema.from_dict(entries, name=inputs.__name__)()


def read(schema: Schema, raw: object) -> Loaded:
    """Return the inputs with defaults filled in. Raises RequestError that carries every fault."""
    if not isinstance(raw, Mapping):
        raise RequestError([Fault("", "a sum takes an object: the name of each field, its value")])
    try:
        values: Loaded = schema.load(dict(raw))
    except ValidationError as error:
        raise RequestError(flatten(error.messages)) from None
    return values


@dataclass(frozen=True)
class SumField(Document):
    """A field that a sum takes."""

    name: str
    what: str
    unit: str
    required: bool
    default: float | str | None = field(default=None, metadata=KNOWN)
    low: float | None = field(default=None, metadata=KNOWN)
    high: float | None = field(default=None, metadata=KNOWN)
    one_of: tuple[float | str, ...] | None = field(default=None, metadata=KNOWN)
    or_word: str | None = field(default=None, metadata=KNOWN)


def fields_of(schema: Schema) -> tuple[SumField, ...]:
    """Return what each field of a sum is."""
    return tuple(_explained(name, one) for name, one in schema.fields.items())


def _explained(name: str, entry: Field) -> SumField:
    (within,) = entry.validators
    low, high = (within.min, within.max) if isinstance(within, validate.Range) else (None, None)
    return SumField(
        name, entry.metadata["description"], entry.metadata["unit"], entry.required,
        entry.load_default if isinstance(entry.load_default, (int, float, str)) else None,
        low, high, getattr(within, "known", None) or getattr(within, "choices", None),
        OPEN if isinstance(entry, OhmsOrOpen) else None,
    )  # fmt: skip


def json_schema(title: str, schema: Schema) -> dict[str, Any]:
    """Return the JSON Schema of the inputs; nothing beside its properties is taken."""
    told = fields_of(schema)
    return {
        "type": "object",
        "title": title,
        "additionalProperties": False,
        "properties": {one.name: _property(one) for one in told},
        "required": [one.name for one in told if one.required],
    }


def _property(about: SumField) -> Json:
    """Return the JSON Schema of one field."""
    unit = f" In {about.unit}." if about.unit else ""
    default = {} if about.default is None else {"default": about.default}
    found = {"description": about.what + unit, **default}
    if about.one_of and isinstance(about.one_of[0], str):
        return found | {"enum": list(about.one_of)}
    if about.one_of:  # makers of clients take no enum of numbers with a point
        return found | {"type": "number", "allOf": [{"enum": list(about.one_of)}]}
    number = {"type": "number", "minimum": about.low, "maximum": about.high}
    if about.or_word:
        return found | {"oneOf": [number, {"const": about.or_word}]}
    return found | number


def need_one_of(given: object, names: Sequence[str], how_many: int = 1) -> None:
    """Raise RequestError unless exactly ``how_many`` of the fields are given.

    It stands at the last that is too many, or at the first that is missing.
    """
    there = [name for name in names if getattr(given, name) is not None]
    if len(there) == how_many:
        return
    missing = [name for name in names if name not in there]
    wanted = {1: "one", 2: "two"}[how_many]
    got = f"got {', '.join(there)}" if there else "got none of them"
    path = there[-1] if len(there) > how_many else missing[0]
    raise refuse(path, f"give exactly {wanted} of {', '.join(names)}; {got}")


def refuse(path: str, message: str) -> RequestError:
    """Return the exception for one field that does not fit the others."""
    return RequestError([Fault(path, message)])
