"""What speaks for or against a cause, as a small picture: two bands on a scale and the reading.

The same figures stand beside it in words; the bands differ in pattern as well as in colour. The
picture itself is the template ``bands.svg``.
"""

import math
from dataclasses import dataclass

from api.answers.text import templates
from engine.physics.band import number

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

    left, right = _LEFT, _RIGHT

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
    cause: tuple[float, float] | None, healthy: tuple[float, float] | None,
    observed: float | None, unit: str, label: str,
) -> str:  # fmt: skip
    """Return the picture; None is 'over range': that band or reading is drawn at the right end.

    ``label`` is its text equivalent. The cause's band is striped, the healthy one plain.
    """
    values = [v for band in (cause, healthy) if band for v in band]
    scale = scale_of(values + ([observed] if observed is not None else []) or [0.0, 1.0])
    rows = [
        (name, top, *_span(scale, band))
        for (name, top), band in zip(_ROWS, (cause, healthy), strict=True)
    ]
    return templates("api", "drawing").get_template("bands.svg").render(
        width=WIDTH, height=HEIGHT, label=label, rows=rows, thick=_THICK, axis=_AXIS, scale=scale,
        number=number, unit=unit, reading=_RIGHT if observed is None else scale(observed),
    )  # fmt: skip


def _span(scale: BandScale, band: tuple[float, float] | None) -> tuple[float, float]:
    """Return from where to where a band is drawn, wide enough to be seen."""
    start, end = (_RIGHT - 10.0, float(_RIGHT)) if band is None else map(scale, band)
    if end - start < _LEAST:
        start = min(max((start + end - _LEAST) / 2, _LEFT), _RIGHT - _LEAST)
        end = start + _LEAST
    return start, end
