"""What speaks for or against a cause, as a small picture: two bands on a scale and the reading.

The same figures stand beside it in words; the bands differ in pattern as well as in colour.
"""

import math
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from engine.answer.words import number

WIDTH, HEIGHT = 320, 92
_LEFT, _RIGHT = 14, 306
_ROWS = (("band-cause", 16), ("band-healthy", 40))
_THICK, _AXIS = 16, 66
_LEAST = 4.0  # pixels of the narrowest band that can still be seen
_DECADES = 1.5  # a scale over more powers of ten than this is drawn in logs


@dataclass(frozen=True)
class BandScale:
    """From values to pixels, evenly or in logs."""

    low: float
    high: float
    log: bool

    def __call__(self, value: float) -> float:
        """Return the pixel of a value; what lies outside stands at the end."""
        share = (self._place(value) - self._place(self.low)) / (
            self._place(self.high) - self._place(self.low)
        )
        return round(_LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT), 1)

    def _place(self, value: float) -> float:
        return math.log10(max(value, self.low)) if self.log else value


def scale_of(values: list[float]) -> BandScale:
    """Return a scale that holds the values with a margin, in logs where they span decades."""
    positive = [value for value in values if value > 0]
    low, high = min(values), max(values)
    if low >= 0 and len(positive) > 1 and max(positive) / min(positive) > 10**_DECADES:
        return BandScale(min(positive) / 2, high * 2, log=True)
    margin = 0.08 * (high - low) or max(abs(high), 1.0) * 0.5
    return BandScale(0.0 if 0 <= low < margin else low - margin, high + margin, log=False)


def svg(
    cause: tuple[float, float] | None,
    healthy: tuple[float, float] | None,
    observed: float | None,
    unit: str,
    label: str,
) -> str:
    """Return the picture; None is 'over range': that band or reading is drawn at the right end.

    ``label`` is its text equivalent.
    """
    values = [v for band in (cause, healthy) if band for v in band]
    scale = scale_of(values + ([observed] if observed is not None else []) or [0.0, 1.0])
    root = ET.Element("svg", {
        "xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {WIDTH} {HEIGHT}",
        "class": "bands", "role": "img", "aria-label": label,
    })  # fmt: skip
    for (name, top), band in zip(_ROWS, (cause, healthy), strict=True):
        _band(root, name, top, scale, band)
    _axis(root, scale, unit)
    _reading(root, _RIGHT if observed is None else scale(observed))
    return ET.tostring(root, encoding="unicode")


def _band(
    root: ET.Element, name: str, top: int, scale: BandScale, band: tuple[float, float] | None
) -> None:
    """Draw one band: the cause's striped, the healthy one plain with an edge."""
    start, end = (_RIGHT - 10.0, float(_RIGHT)) if band is None else map(scale, band)
    if end - start < _LEAST:
        start = min(max((start + end - _LEAST) / 2, _LEFT), _RIGHT - _LEAST)
        end = start + _LEAST
    box = {"x": f"{start:.1f}", "y": str(top), "width": f"{end - start:.1f}"}
    ET.SubElement(root, "rect", {**box, "height": str(_THICK), "rx": "2", "class": name})
    if name == "band-cause":
        strokes = "".join(
            f"M{x:.1f} {top + _THICK}l{min(6.0, end - x):.1f} -{_THICK}"
            for x in (start + 6 * step for step in range(math.ceil((end - start) / 6)))
        )
        ET.SubElement(root, "path", {"d": strokes, "class": "band-stripe"})


def _axis(root: ET.Element, scale: BandScale, unit: str) -> None:
    ET.SubElement(root, "path", {"d": f"M{_LEFT} {_AXIS}H{_RIGHT}", "class": "band-axis"})
    for value, anchor in ((scale.low, "start"), (scale.high, "end")):
        words = ET.SubElement(root, "text", {
            "x": str(scale(value)), "y": str(_AXIS + 18), "text-anchor": anchor,
            "class": "band-number",
        })  # fmt: skip
        words.text = f"{number(value)} {unit}"


def _reading(root: ET.Element, x: float) -> None:
    """Draw the reading: a line through both bands with a diamond at its head."""
    ET.SubElement(root, "path", {"d": f"M{x} 10V{_AXIS}", "class": "band-reading"})
    ET.SubElement(
        root, "path", {"d": f"M{x} 0l6 6l-6 6l-6 -6z", "class": "band-mark"}
    )  # fmt: skip
