"""What speaks for or against a cause, as a small picture: two bands on a scale and the reading.

The same figures stand beside it in words; the bands differ in pattern as well as in colour. The
picture itself is the template ``bands.svg``.
"""

import math

from api.answers.text import templates
from engine.physics.band import number

WIDTH, HEIGHT = 320, 92
_LEFT, _RIGHT = 14, 306
_THICK, _AXIS = 16, 66
_LEAST = 4.0  # pixels of the narrowest band that can still be seen
_DECADES = 1.5  # a scale over more powers of ten than this is drawn in logs


def svg(
    cause: tuple[float, float] | None, healthy: tuple[float, float] | None,
    observed: float | None, unit: str, label: str,
) -> str:  # fmt: skip
    """Return the picture; None is 'over range': that band or reading is drawn at the right end.

    ``label`` is its text equivalent. The cause's band is striped, the healthy one plain.
    """
    values = [v for band in (cause, healthy) if band for v in band]
    low, high, log = _scale(values + ([observed] if observed is not None else []) or [0.0, 1.0])

    def at(value: float) -> float:
        """Return the pixel of a value; what lies outside stands at the end."""
        start, end, place = (math.log10(max(v, low)) if log else v for v in (low, high, value))
        share = (place - start) / (end - start)
        return round(_LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT), 1)

    def span(band: tuple[float, float] | None) -> tuple[float, float]:
        """Return from where to where a band is drawn, wide enough to be seen."""
        start, end = (_RIGHT - 10.0, float(_RIGHT)) if band is None else map(at, band)
        if end - start < _LEAST:
            start = min(max((start + end - _LEAST) / 2, _LEFT), _RIGHT - _LEAST)
            end = start + _LEAST
        return start, end

    return templates("api", "drawing").get_template("bands.svg").render(
        width=WIDTH, height=HEIGHT, label=label, thick=_THICK, axis=_AXIS, left=_LEFT, right=_RIGHT,
        rows=[("band-cause", 16, *span(cause)), ("band-healthy", 40, *span(healthy))],
        ends=((low, at(low), "start"), (high, at(high), "end")), number=number, unit=unit,
        reading=_RIGHT if observed is None else at(observed),
    )  # fmt: skip


def _scale(values: list[float]) -> tuple[float, float, bool]:
    """Return the ends of a scale that holds the values, and whether it is in logs.

    It is where they span decades.
    """
    positive = [value for value in values if value > 0]
    low, high = min(values), max(values)
    if low >= 0 and len(positive) > 1 and max(positive) / min(positive) > 10**_DECADES:
        return min(positive) / 2, high * 2, True
    margin = 0.08 * (high - low) or max(abs(high), 1.0) * 0.5
    return 0.0 if 0 <= low < margin else low - margin, high + margin, False
