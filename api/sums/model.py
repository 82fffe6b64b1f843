"""What a sum is, and what comes out of one: figures with units, words, and perhaps a curve."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from engine import Knowledge
from engine.knowledge.shapes import StrictSchema

Scale = Literal["linear", "log"]
DIGITS = 6


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

    def as_dict(self) -> dict[str, Any]:
        """Return it as the service gives it."""
        value = rounded(self.value) if isinstance(self.value, (int, float)) else self.value
        return {"id": self.id, "name": self.name, "value": value, "unit": self.unit}


@dataclass(frozen=True)
class Axis:
    """What runs along an axis, in which unit, and on which scale."""

    name: str
    unit: str
    scale: Scale = "linear"

    def as_dict(self) -> dict[str, Any]:
        """Return it as the service gives it."""
        return {"name": self.name, "unit": self.unit, "scale": self.scale}


@dataclass(frozen=True)
class Line:
    """A named line through points (x, y); ``limit`` marks a line that must not be crossed."""

    name: str
    points: tuple[tuple[float, float], ...]
    limit: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return it as the service gives it."""
        points = [[rounded(x), rounded(y)] for x, y in self.points]
        return {"name": self.name, "limit": self.limit, "points": points}


@dataclass(frozen=True)
class Mark:
    """A point of the curve that the caller asked about."""

    name: str
    x: float
    y: float

    def as_dict(self) -> dict[str, Any]:
        """Return it as the service gives it."""
        return {"name": self.name, "x": rounded(self.x), "y": rounded(self.y)}


@dataclass(frozen=True)
class Curve:
    """Lines over two axes, and where the caller stands on them."""

    x: Axis
    y: Axis
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return it as the service gives it."""
        return {
            "x": self.x.as_dict(),
            "y": self.y.as_dict(),
            "lines": [line.as_dict() for line in self.lines],
            "marks": [mark.as_dict() for mark in self.marks],
        }


@dataclass(frozen=True)
class Outcome:
    """What a sum gives: a sentence, the figures, what it took for granted, and a curve."""

    says: str
    figures: tuple[Figure, ...]
    formula: str
    source: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    curve: Curve | None = None


@dataclass(frozen=True)
class Sum:
    """One bench sum: what it answers, its inputs, an example, and the function that works it.

    ``hazards`` are those of taking its readings or acting on its answer; ``rules`` are caution
    rules of the knowledge base that go with it whatever comes out.
    """

    id: str
    title: str
    tells: str
    schema: StrictSchema
    example: Mapping[str, Any]
    work: Callable[[Knowledge, Mapping[str, Any]], Outcome]
    hazards: frozenset[str] = frozenset()
    rules: tuple[str, ...] = field(default=())
