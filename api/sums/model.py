"""What a sum is, and what comes out of one: figures with units, words, and perhaps a curve.

Its words are in ``sums.yaml``.
"""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, ClassVar, Literal

import numpy as np
from marshmallow import ValidationError

from api.strict_json import Json
from api.sums.entries import SumField
from engine import Knowledge
from engine.answer.documents import Document, same
from engine.knowledge import Fault, RequestError
from engine.knowledge.shapes import Loaded, StrictSchema, flatten

Points = tuple[tuple[float, float], ...]


def shown(value: float, digits: int = 4) -> str:
    """Return a number for people: to so many digits, never with a power of ten."""
    if abs(value) >= 10.0 ** (digits - 1):
        return f"{value:.0f}"
    text = f"{value:.{digits}g}"
    return text if "e" not in text else f"{value:.12f}".rstrip("0").rstrip(".")


@dataclass(frozen=True)
class Figure:
    """One result: a number with its unit, a word without one, or None where there is none."""

    id: str
    name: str
    value: float | str | None
    unit: str = ""


@dataclass(frozen=True)
class Axis:
    """What runs along an axis, in which unit, and on which scale."""

    name: str
    unit: str
    scale: Literal["linear", "log"] = "linear"


@dataclass(frozen=True)
class CurveLine:
    """A named line through points (x, y); ``limit`` marks a line that must not be crossed."""

    name: str
    points: Points
    limit: bool = False


def points(start: float, end: float, curve: Callable[[float], float]) -> Points:
    """Return 33 points of a curve from ``start`` to ``end``."""
    return tuple((float(x), curve(float(x))) for x in np.linspace(start, end, 33))


def limit(name: str, start: float, end: float, at: float) -> CurveLine:
    """Return a level line that must not be crossed."""
    return CurveLine(name, ((start, at), (end, at)), limit=True)


@dataclass(frozen=True)
class CurveMark:
    """A point of the curve that the caller asked about."""

    name: str
    x: float
    y: float


@dataclass(frozen=True)
class Curve:
    """Lines over two axes, and where the caller stands on them."""

    x: Axis
    y: Axis
    lines: tuple[CurveLine, ...]
    marks: tuple[CurveMark, ...] = ()


@dataclass(frozen=True)
class Worked:
    """What a sum finds: a sentence, the figures, and a curve.

    ``assumptions`` and ``cautions`` are those of these inputs alone; ``said`` is what the words of
    the sum name in braces.
    """

    says: str
    figures: tuple[Figure, ...]
    curve: Curve | None = None
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    said: Mapping[str, Any] = field(default_factory=dict)


def neat(value: Any) -> Any:
    """Return figures, axes, lines and curves with numbers of six digits: none carries more."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{name: neat(one) for name, one in vars(value).items()})
    if isinstance(value, tuple):
        return tuple(neat(one) for one in value)
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return float(f"{value:.6g}") if number else value


@dataclass(frozen=True)
class SumAnswer(Document):
    """What came out of a sum."""

    knowledge_version: str
    sum: str
    title: str
    inputs: Json
    says: str
    figures: tuple[Figure, ...] = field(metadata={"key": "results"})
    formula: str
    source: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    curve: Curve | None


@dataclass(frozen=True)
class Sum(Document):
    """A bench sum and what it takes.

    ``work`` works it, given its ``inputs``. ``hazards`` are those of taking its readings or acting
    on its answer; ``rules`` are caution rules of the knowledge base that go with it whatever comes
    out; ``about`` says what each field is.
    """

    DOCUMENT: ClassVar = same("id", "title", "tells", "fields", "example")

    id: str
    inputs: type[Any]
    work: Callable[[Knowledge, Any], Worked]
    title: str
    tells: str
    example: Json
    about: Mapping[str, str]
    formula: str
    source: str
    assumptions: Sequence[str]
    cautions: Sequence[str] = ()
    hazards: Sequence[str] = ()
    rules: Sequence[str] = ()

    @cached_property
    def fields(self) -> tuple[SumField, ...]:
        """Return the fields that it takes, with units and limits."""
        return tuple(
            replace(one.metadata["field"], name=one.name, what=self.about[one.name])
            for one in dataclasses.fields(self.inputs)
        )

    @cached_property
    def _schema(self) -> Any:
        entries: Any = {one.name: one.entry() for one in self.fields}
        return StrictSchema.from_dict(entries, name=self.inputs.__name__)()

    def read(self, raw: object) -> Loaded:
        """Return the inputs, defaults filled in. Raises RequestError that carries every fault."""
        if not isinstance(raw, Mapping):
            message = "a sum takes an object: the name of each field, its value"
            raise RequestError([Fault("", message)])
        try:
            values: Loaded = self._schema.load(dict(raw))
        except ValidationError as error:
            raise RequestError(flatten(error.messages)) from None
        return values

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the inputs; nothing beside its properties is taken."""
        return {
            "type": "object",
            "title": self.title,
            "additionalProperties": False,
            "properties": {one.name: one.json_schema() for one in self.fields},
            "required": [one.name for one in self.fields if one.required],
        }


@dataclass(frozen=True)
class SumsList(Document):
    """The bench sums."""

    knowledge_version: str
    count: int
    sums: tuple[Sum, ...]
