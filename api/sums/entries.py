"""The fields of the sums: what may be typed, within which limits, and how each says so itself.

A sum's inputs are one dataclass whose fields are made by the functions here; its schema and its
part of /openapi.json follow from them.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from marshmallow import ValidationError, fields, validate

from api.strict_json import Json
from engine.answer.documents import Document
from engine.knowledge import Fault, RequestError
from engine.knowledge.shapes import Number, OneOf
from engine.reasoning.effects import KNOWN

OPEN = "open"


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


@dataclass(frozen=True)
class SumField(Document):
    """A field that a sum takes."""

    name: str = ""
    what: str = ""
    unit: str = ""
    required: bool = False
    default: float | str | None = field(default=None, metadata=KNOWN)
    low: float | None = field(default=None, metadata=KNOWN)
    high: float | None = field(default=None, metadata=KNOWN)
    one_of: tuple[float | str, ...] | None = field(default=None, metadata=KNOWN)
    or_word: str | None = field(default=None, metadata=KNOWN)

    @property
    def of_words(self) -> bool:
        """Return whether it is one word of a closed set."""
        return bool(self.one_of) and isinstance(self.one_of[0], str)  # type: ignore[index]

    def entry(self) -> fields.Field[Any]:
        """Return the marshmallow field that reads it."""
        left_out = {} if self.required else {"load_default": self.default, "allow_none": False}
        when: dict[str, Any] = {"required": self.required, **left_out}
        if self.one_of and self.of_words:
            return fields.String(validate=OneOf("word", self.one_of), **when)
        if self.one_of:
            listed = ", ".join(f"{one:g}" for one in self.one_of)
            error = f"must be one of {listed} {self.unit}".rstrip()
            return Number(validate=validate.OneOf(self.one_of, error=error), **when)
        limits = f"must be from {self.low:g} to {self.high:g} {self.unit}".rstrip()
        within = validate.Range(self.low, self.high, error=f"{limits}; check the unit")
        return (OhmsOrOpen if self.or_word else Number)(validate=within, **when)

    def json_schema(self) -> Json:
        """Return its JSON Schema."""
        unit = f" In {self.unit}." if self.unit else ""
        default = {} if self.default is None else {"default": self.default}
        found = {"description": self.what + unit, **default}
        if self.one_of and self.of_words:
            return found | {"enum": list(self.one_of)}
        if self.one_of:  # makers of clients take no enum of numbers with a point
            return found | {"type": "number", "allOf": [{"enum": list(self.one_of)}]}
        number = {"type": "number", "minimum": self.low, "maximum": self.high}
        return found | ({"oneOf": [number, {"const": self.or_word}]} if self.or_word else number)


def quantity(unit: str, low: float, high: float, default: float | None = None) -> Any:
    """Return a field that may be left out, for a number of ``unit`` from ``low`` to ``high``."""
    return _declared(unit=unit, low=low, high=high, default=default)


def needed(unit: str, low: float, high: float) -> Any:
    """Return a field that must be given, for a number of ``unit`` from ``low`` to ``high``."""
    return _declared(unit=unit, low=low, high=high, required=True)


def celsius(default: float = 20.0) -> Any:
    """Return a field that may be left out, for the temperature of copper."""
    return quantity("C", -60.0, 300.0, default)


def ohms_or_open() -> Any:
    """Return a required field for ohms, or the word 'open'."""
    return _declared(unit="ohm", low=0.0, high=100_000, required=True, or_word=OPEN)


def choice(
    known: Sequence[Any], default: Any = None, unit: str = "", required: bool = False
) -> Any:
    """Return a field for one word, or one number, of a closed set."""
    return _declared(one_of=tuple(known), default=default, unit=unit, required=required)


def _declared(**about: Any) -> Any:
    return dataclasses.field(metadata={"field": SumField(**about)})


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
