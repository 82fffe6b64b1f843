"""A curve as a small SVG picture: no script, no style sheet, no font of its own.

Every stroke is ``currentColor``, so the picture follows the text around it on light and on dark.
A page may colour the classes ``plot-line-0``, ``plot-line-1``, ``plot-limit``, ``plot-mark``,
``plot-grid``; the lines differ in their dashes as well, so colour never speaks alone.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree import ElementTree as ET

from api.sums.model import shown

WIDTH, HEIGHT = 480, 320
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 16, 30, 96
_DASHES = ("", "9 4", "2 3", "12 3 2 3")
_AIR = 0.04  # share of an axis that stays free at each end, so that no line lies on the frame
_LIMIT_DASH = "4 4"
_LETTER = 6.6  # pixels that a letter of 12 takes on average

Curve = Mapping[str, Any]


class _Scale:
    """One axis: from values to pixels, and where its grid lines stand."""

    def __init__(self, values: Sequence[float], kind: str, start: float, end: float) -> None:
        self.log = kind == "log"
        self.low, self.high = _ends(values, self.log)
        air = (end - start) * _AIR
        self._start, self._end = start + air, end - air

    def __call__(self, value: float) -> float:
        """Return the pixel of a value, to a tenth."""
        low, high, at = map(self._place, (self.low, self.high, value))
        return round(self._start + (at - low) / (high - low) * (self._end - self._start), 1)

    def _place(self, value: float) -> float:
        return math.log10(value) if self.log else value

    def ticks(self) -> list[float]:
        """Return the values of the grid lines."""
        return _log_ticks(self.low, self.high) if self.log else _ticks(self.low, self.high)


def _ends(values: Sequence[float], log: bool) -> tuple[float, float]:
    """Return the ends of an axis, never the same."""
    low, high = min(values), max(values)
    if low < high:
        return low, high
    return (low / 2, high * 2) if log else (low - 1, high + 1)


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


def svg(curve: Curve, title: str) -> str:
    """Return the curve of a sum's document (its ``curve``) as one SVG element.

    ``title`` names the picture for those who cannot see it; the description says the rest in words.
    Points that a logarithmic axis cannot show are left out. Raises ValueError for a curve without
    points.
    """
    lines = [(line, _shown(line["points"], curve)) for line in curve["lines"]]
    marks = _shown([(mark["x"], mark["y"], mark["name"]) for mark in curve["marks"]], curve)
    drawn = [one for _, points in lines for one in points] + marks
    if not drawn:
        raise ValueError("a curve must have points to be drawn")
    x = _Scale([one[0] for one in drawn], curve["x"]["scale"], _LEFT, WIDTH - _RIGHT)
    y = _Scale([one[1] for one in drawn], curve["y"]["scale"], HEIGHT - _BOTTOM, _TOP)
    root = _root(curve, title)
    _axes(root, curve, x, y)
    for number, (line, points) in enumerate(lines):
        _line(root, line, [(x(px), y(py)) for px, py in points], number)
    for px, py, name in marks:
        _mark(root, f"{name}: {_axis_words(curve, px, py)}", x(px), y(py))
    return ET.tostring(root, encoding="unicode")


def _shown(points: Sequence[Sequence[Any]], curve: Curve) -> list[Any]:
    """Return the points that both axes can show."""
    x_log, y_log = (curve[axis]["scale"] == "log" for axis in ("x", "y"))
    return [one for one in points if (one[0] > 0 or not x_log) and (one[1] > 0 or not y_log)]


def _root(curve: Curve, title: str) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {WIDTH} {HEIGHT}",
            "role": "img",
            "class": "plot",
            "font-family": "sans-serif",
            "font-size": "12",
            "fill": "currentColor",
        },
    )
    ET.SubElement(root, "title").text = _plain(title)
    ET.SubElement(root, "desc").text = _plain(describe(curve))
    return root


def _plain(text: str) -> str:
    """Return text without the control characters that XML does not take."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def describe(curve: Curve) -> str:
    """Return what the picture shows, in words."""
    x, y = curve["x"], curve["y"]
    said = [f"{y['name'].capitalize()} in {y['unit']} against {x['name']} in {x['unit']}."]
    for line in curve["lines"]:
        if line["points"]:
            (x1, y1), (x2, y2) = line["points"][0], line["points"][-1]
            kind = "Limit" if line["limit"] else "Line"
            ends = f"{_axis_words(curve, x1, y1)}, to {_axis_words(curve, x2, y2)}"
            said.append(f"{kind} '{line['name']}': from {ends}.")
    said += [
        f"{mark['name'].capitalize()}: {_axis_words(curve, mark['x'], mark['y'])}."
        for mark in curve["marks"]
    ]
    return " ".join(said)


def _axis_words(curve: Curve, x: float, y: float) -> str:
    return f"{shown(x, 3)} {curve['x']['unit']}, {shown(y, 3)} {curve['y']['unit']}"


def _axes(root: ET.Element, curve: Curve, x: _Scale, y: _Scale) -> None:
    """Draw the grid with its numbers, and the name and unit of each axis."""
    bottom, right = HEIGHT - _BOTTOM, WIDTH - _RIGHT
    last = -math.inf
    for value in x.ticks():
        _grid(root, x(value), _TOP, x(value), bottom)
        half = len(shown(value, 3)) * _LETTER / 2
        if x(value) - half > last:  # numbers that would touch are left out
            _text(root, shown(value, 3), x(value), bottom + 16, "middle")
            last = x(value) + half + _LETTER
    for value in y.ticks():
        _grid(root, _LEFT, y(value), right, y(value))
        _text(root, shown(value, 3), _LEFT - 6, y(value) + 4, "end")
    frame = {"d": f"M{_LEFT} {_TOP}V{bottom}H{right}", "class": "plot-axis"}
    ET.SubElement(root, "path", frame | _stroke(1.2))
    _text(root, f"{curve['x']['name']} ({curve['x']['unit']})", right, bottom + 34, "end")
    _text(root, f"{curve['y']['name']} ({curve['y']['unit']})", 4, 16, "start")


def _grid(root: ET.Element, x1: float, y1: float, x2: float, y2: float) -> None:
    where = {"x1": f"{x1:g}", "y1": f"{y1:g}", "x2": f"{x2:g}", "y2": f"{y2:g}"}
    look = {"class": "plot-grid", "stroke-opacity": "0.2"}
    ET.SubElement(root, "line", where | look | _stroke(1))


def _stroke(width: float, dash: str = "") -> dict[str, str]:
    look = {"fill": "none", "stroke": "currentColor", "stroke-width": f"{width:g}"}
    return look | ({"stroke-dasharray": dash} if dash else {})


def _text(root: ET.Element, text: str, x: float, y: float, anchor: str) -> None:
    where = {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor}
    ET.SubElement(root, "text", where).text = _plain(text)


def _line(
    root: ET.Element, line: Mapping[str, Any], pixels: Sequence[tuple[float, float]], number: int
) -> None:
    """Draw a line, and its name with a piece of it in the legend below the axes."""
    if not pixels:
        return
    dash = _LIMIT_DASH if line["limit"] else _DASHES[number % len(_DASHES)]
    look = {"class": "plot-limit" if line["limit"] else f"plot-line-{number}"}
    look |= _stroke(1.5 if line["limit"] else 2, dash)
    path = "M" + "L".join(f"{px:g} {py:g}" for px, py in pixels)
    ET.SubElement(root, "path", {"d": path} | look)
    top = HEIGHT - _BOTTOM + 52 + 16 * number
    ET.SubElement(root, "path", {"d": f"M{_LEFT} {top - 4}h36"} | look)
    _text(root, line["name"], _LEFT + 44, top, "start")


def _mark(root: ET.Element, words: str, x: float, y: float) -> None:
    """Draw a point and its words, on the side where there is room for them."""
    where = {"cx": f"{x:g}", "cy": f"{y:g}", "r": "5", "class": "plot-mark"}
    ET.SubElement(root, "circle", where)
    high = y + 20 if y - 20 < _TOP else y - 9
    fits = x + 9 + len(words) * _LETTER < WIDTH
    left = x + 9 if fits else max(x - 9, len(words) * _LETTER)
    _text(root, words, left, high, "start" if fits else "end")
