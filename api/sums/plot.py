"""A curve as a small SVG picture: no script, no style sheet, no font of its own.

Every stroke is ``currentColor``, so the picture follows the text around it on light and on dark.
A page may colour the classes ``plot-line-0``, ``plot-line-1``, ``plot-limit``, ``plot-mark``,
``plot-grid``; the lines differ in their dashes as well, so colour never speaks alone. The picture
itself is the template ``plot.svg``.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Any

from api.answers.text import templates, xml_text
from api.strict_json import Json
from api.sums.model import shown

WIDTH, HEIGHT = 480, 320
_MARGINS = {"left": 64, "right": 16, "top": 30, "bottom": 96}
_AIR = 0.04  # share of an axis that stays free at each end, so that no line lies on the frame
LETTER = 6.6  # pixels that a letter of 12 takes on average


class PlotAxis:
    """One axis: from values to pixels, and where its grid lines stand."""

    def __init__(self, values: Sequence[float], kind: str, start: float, end: float) -> None:
        self.log = kind == "log"
        low, high = min(values), max(values)
        if low == high:  # the ends of an axis are never the same
            low, high = (low / 2, high * 2) if self.log else (low - 1, high + 1)
        self.low, self.high = low, high
        air = (end - start) * _AIR
        self._start, self._end = start + air, end - air

    def __call__(self, value: float) -> float:
        """Return the pixel of a value, to a tenth."""
        low, high, at = map(self._place, (self.low, self.high, value))
        return round(self._start + (at - low) / (high - low) * (self._end - self._start), 1)

    def _place(self, value: float) -> float:
        return math.log10(value) if self.log else value

    def numbers(self, letter: float = 0.0) -> Iterator[tuple[float, str]]:
        """Yield pixel and number of each grid line; a number that would touch another is empty."""
        last = -math.inf
        for value in (_log_ticks if self.log else _ticks)(self.low, self.high):
            at, words = self(value), shown(value, 3)
            half = len(words) * letter / 2
            free = not letter or at - half > last
            last = at + half + letter if free else last
            yield at, words if free else ""


def _ticks(low: float, high: float) -> list[float]:
    """Return about five round values from ``low`` to ``high``."""
    raw = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * one for one in (1, 2, 5, 10) if power * one >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def _log_ticks(low: float, high: float) -> list[float]:
    """Return powers of ten, with 2 and 5 between them where there are few."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    within = (1,) if len(decades) > 4 else (1, 2, 5)
    found = [one * 10.0**power for power in decades for one in within]
    inside = [value for value in found if low * 0.999 <= value <= high * 1.001]
    return inside or [low, high]


def svg(curve: Json, title: str) -> str:
    """Return the curve of a sum's document (its ``curve``) as one SVG element.

    ``title`` names the picture for those who cannot see it; the description says the rest in words.
    Points that a logarithmic axis cannot show are left out. Raises ValueError for a curve without
    points.
    """
    lines = [(line, _drawable(line["points"], curve)) for line in curve["lines"]]
    marks = _drawable([(mark["x"], mark["y"], mark["name"]) for mark in curve["marks"]], curve)
    drawn = [one for _, points in lines for one in points] + marks
    if not drawn:
        raise ValueError("a curve must have points to be drawn")
    across = (_MARGINS["left"], WIDTH - _MARGINS["right"])
    picture = templates("api", "sums").get_template("plot.svg").render(
        curve=curve, title=title, description=describe(curve), lines=lines, marks=marks, at=_at,
        width=WIDTH, height=HEIGHT, margins=_MARGINS, letter=LETTER,
        x=PlotAxis([one[0] for one in drawn], curve["x"]["scale"], *across),
        y=PlotAxis([one[1] for one in drawn], curve["y"]["scale"], HEIGHT - _MARGINS["bottom"],
                _MARGINS["top"]),
    )  # fmt: skip
    return xml_text(picture)


def _drawable(points: Sequence[Sequence[Any]], curve: Json) -> list[Any]:
    """Return the points that both axes can show."""
    x_log, y_log = (curve[axis]["scale"] == "log" for axis in ("x", "y"))
    return [one for one in points if (one[0] > 0 or not x_log) and (one[1] > 0 or not y_log)]


def describe(curve: Json) -> str:
    """Return what the picture shows, in words."""
    x, y = curve["x"], curve["y"]
    said = [f"{y['name'].capitalize()} in {y['unit']} against {x['name']} in {x['unit']}."]
    for line in curve["lines"]:
        if line["points"]:
            kind = "Limit" if line["limit"] else "Line"
            first, last = (_at(curve, *line["points"][place]) for place in (0, -1))
            said.append(f"{kind} '{line['name']}': from {first}, to {last}.")
    said += [
        f"{mark['name'].capitalize()}: {_at(curve, mark['x'], mark['y'])}."
        for mark in curve["marks"]
    ]
    return " ".join(said)


def _at(curve: Json, x: float, y: float) -> str:
    return f"{shown(x, 3)} {curve['x']['unit']}, {shown(y, 3)} {curve['y']['unit']}"
