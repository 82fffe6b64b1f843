"""What a meter reading is worth: its half-width, its standard uncertainty, and the verdict."""

import math
from typing import Literal

from scipy.special import ndtr

from engine.calculations import Quantity

Verdict = Literal["good", "bad", "cannot-say"]


def half_width(
    reading: Quantity, percent: float, counts: float = 0.0, resolution: float = 0.0
) -> Quantity:
    """Return the half-width, in the reading's unit, of a "% of reading + counts" statement.

    ``counts`` is a number of last digits, ``resolution`` the size of one. Source: makers' accuracy
    statements.
    """
    return abs(reading) * (percent / 100.0) + counts * resolution


def standard_uncertainty(half: Quantity) -> Quantity:
    """Return the standard uncertainty a / sqrt 3 of bounds +-a, in the unit of ``half``.

    Source: JCGM 100:2008 clause 4.3.7.
    """
    return half / math.sqrt(3.0)


def _share_below(limit: float, value: Quantity, uncertainty: float) -> Quantity:
    """Return the probability that the true value lies below ``limit``."""
    return ndtr((limit - value) / uncertainty)


def conformance_probability(
    value: Quantity, uncertainty: float, lower: float | None = None, upper: float | None = None
) -> Quantity:
    """Return the probability (0 to 1) that the true value lies within the limits given.

    ``lower`` or ``upper`` may be left out. Raises ValueError when both are. Source: JCGM 106:2012
    clause 7 (from memory): true value normal about the reading.
    """
    if lower is not None and upper is not None:
        below = _share_below(upper, value, uncertainty)
        return below - _share_below(lower, value, uncertainty)
    if upper is not None:
        return _share_below(upper, value, uncertainty)
    if lower is not None:
        # Mirrored, so that a value far below the limit keeps its digits.
        return _share_below(-lower, -value, uncertainty)
    raise ValueError("lower or upper must be given, got neither")


def verdict(
    value: float,
    uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
    sure: float = 0.95,
) -> Verdict:
    """Return 'good', 'bad' or 'cannot-say' for a reading against the limits of a good part.

    'good' when the limits are met with probability ``sure`` (above one half) or more, 'bad' when
    they are missed with it. Source: JCGM 106:2012 clause 8, decision by conformance probability;
    0.95 is judgement.
    """
    conforms = conformance_probability(value, uncertainty, lower, upper)
    if conforms >= sure:
        return "good"
    return "bad" if 1.0 - conforms >= sure else "cannot-say"
