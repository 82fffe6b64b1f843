"""What a sum is, and what comes out of one: figures with units, words, and perhaps a curve."""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Generic, Literal, TypeVar

import numpy as np
from marshmallow import Schema

from api.strict_json import Json
from api.sums.entries import SumField, fields_of, schema_of
from engine import Knowledge
from engine.answer.documents import SPREAD, Document, same

Inputs = TypeVar("Inputs")
Scale = Literal["linear", "log"]
DIGITS = 6
POINTS = 33  # of a curve


def rounded(value: float) -> float:
    """Return ``value`` to six significant digits: more than any of the figures carries."""
    return float(f"{value:.{DIGITS}g}")


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
    scale: Scale = "linear"


@dataclass(frozen=True)
class CurveLine:
    """A named line through points (x, y); ``limit`` marks a line that must not be crossed."""

    name: str
    points: tuple[tuple[float, float], ...]
    limit: bool = False


def points(
    start: float, end: float, curve: Callable[[float], float]
) -> tuple[tuple[float, float], ...]:
    """Return a curve's points from ``start`` to ``end``."""
    places = [float(x) for x in np.linspace(start, end, POINTS)]
    return tuple((x, curve(x)) for x in places)


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
    """What a sum gives: a sentence, the figures, what it took for granted, and a curve."""

    says: str
    figures: tuple[Figure, ...] = field(metadata={"key": "results"})
    formula: str
    source: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    curve: Curve | None = None


def neat(value: Any) -> Any:
    """Return figures, axes, lines and curves with their numbers rounded."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        parts = {one.name: neat(getattr(value, one.name)) for one in dataclasses.fields(value)}
        return dataclasses.replace(value, **parts)
    if isinstance(value, tuple):
        return tuple(neat(one) for one in value)
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return rounded(value) if number else value


@dataclass(frozen=True)
class SumAnswer(Document):
    """What came out of a sum."""

    DOCUMENT: ClassVar = same("knowledge_version", "sum", "title", "inputs") | {SPREAD: "worked"}

    knowledge_version: str
    sum: str
    title: str
    inputs: Json
    worked: Worked


@dataclass(frozen=True)
class Sum(Document, Generic[Inputs]):
    """A bench sum and what it takes.

    ``work`` works it, given its ``inputs``. ``hazards`` are those of taking its readings or acting
    on its answer; ``rules`` are caution rules of the knowledge base that go with it whatever comes
    out.
    """

    DOCUMENT: ClassVar = same("id", "title", "tells", "fields", "example")

    id: str
    title: str
    tells: str
    inputs: type[Inputs]
    example: Json
    work: Callable[[Knowledge, Inputs], Worked]
    hazards: frozenset[str] = frozenset()
    rules: tuple[str, ...] = ()

    @cached_property
    def schema(self) -> Schema:
        """What reads the inputs, and explains them."""
        return schema_of(self.inputs)

    @property
    def fields(self) -> tuple[SumField, ...]:
        """Return the fields that it takes, with units and limits."""
        return fields_of(self.schema)


@dataclass(frozen=True)
class SumsList(Document):
    """The bench sums."""

    knowledge_version: str
    count: int
    sums: tuple[Sum, ...]  # type: ignore[type-arg]  # of any inputs
