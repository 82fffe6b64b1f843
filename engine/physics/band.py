"""What a reading would be under a cause, as the numbers that are printed and judged by."""

import math
from dataclasses import dataclass, replace
from typing import Any

OPEN_OHMS = 1e6  # what a common ohmmeter shows as over range on its working ranges (judgement)
NOISE = 1.0  # V or A below zero that a meter shows of nothing
DOUBTS = {
    "meter": "too fine for this meter to tell",
    "machine": "by the kind of machine, which is not known",
}


@dataclass(frozen=True)
class Band:
    """Limits in a unit. ``high`` None or ``low`` -inf is no limit, ``open`` an over-range display.

    ``doubt`` says why no reading inside can be called good: ``meter`` (its uncertainty covers good
    and bad) or ``machine`` (good machines of the kinds that it may be read far apart).
    """

    low: float
    high: float | None
    unit: str
    open: bool = False
    doubt: str | None = None

    def holds(self, value: float) -> bool:
        """Return whether a reading lies inside, its limits included."""
        return not self.open and self.low <= value and (self.high is None or value <= self.high)

    def doubted(self, doubt: str | None) -> "Band":
        """Return the band with a doubt; one that it has already stays."""
        return replace(self, doubt=self.doubt or doubt)

    @property
    def words(self) -> str:
        """Return it in words: ``0.6 to 14 A``."""
        if self.open:
            return "over range (open)"
        if self.high is None:
            words = f"{_plain(self.low)} {self.unit} or more"
        elif self.low == -math.inf:
            words = f"under {_plain(self.high)} {self.unit}"
        elif self.low == self.high:
            words = f"{_plain(self.high)} {self.unit}"
        else:
            words = f"{_plain(self.low)} to {_plain(self.high)} {self.unit}"
        return words if self.doubt is None else f"{words} ({DOUBTS[self.doubt]})"

    def to_dict(self) -> dict[str, Any]:
        """Return the contract's JSON: limits and unit, or ``open``."""
        if self.open:
            return {"open": True}
        doubt = {} if self.doubt is None else {"doubt": self.doubt}
        low = self.low if math.isfinite(self.low) else None
        return {"low": low, "high": self.high, "unit": self.unit, **doubt}


def open_band(unit: str) -> Band:
    """Return the band of an ohmmeter that shows over range."""
    return Band(0.0, None, unit, open=True)


def readable(low: float, high: float, unit: str, least: float, fine: bool = False) -> Band:
    """Return limits as they are printed: cut at what the quantity can be, and rounded.

    ``least`` is the least that the check can read. The digits are those that a reading deserves;
    with ``fine`` those that a tenth of the band's width needs, since something is judged by it.
    """
    floor = 0.0 if unit in ("ohm", "s") else least if least >= 0 else -math.inf
    low, high = max(low, floor), max(high, floor)
    # a millivolt below zero is a meter's noise, not a reading
    low = 0.0 if -NOISE < low < 0 <= high else low
    width = high - low
    digits = fine_digits(width) if fine and math.isfinite(width) and width > 0 else None
    over = unit == "ohm" and high >= OPEN_OHMS
    return Band(rounded(low, digits), None if over else rounded(high, digits), unit)


def rounded(value: float, digits: int | None = None) -> float:
    """Return a number with the digits that a reading deserves: 0.42, 3.1, 24, 1800."""
    size = abs(value)
    usual = 2 if size < 1 else 1 if size < 20 else 0
    return round(value, usual if digits is None else digits) + 0.0


def number(value: float) -> str:
    """Return a number in words, with the digits that a reading deserves."""
    return _plain(rounded(value))


def _plain(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def fine_digits(width: float) -> int:
    """Return the decimals that a tenth of a width needs, 0 to 6."""
    return min(max(0, -math.floor(math.log10(width / 10))), 6)
