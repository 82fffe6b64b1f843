"""The hold in a recording: steady or chopped, at which frequency and share, and its average."""

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first used: half a second each

from engine.traces.pull import Level
from engine.traces.trace import ROLES, Samples, Trace, means

LEAST_SECONDS = 0.2
BEFORE = 0.2  # s before the hold is read, half of them within the pull
MOST_LOOKED_AT = 2**18  # samples
RIPPLE = 0.15  # of the average: below it nothing is chopped
LINE_SHARE = 0.4  # of the ripple's power that chopping has in its line and harmonics
LEAST_HERTZ = 15.0


@dataclass(frozen=True)
class Hold:
    """Average in its unit; ``drive`` is steady, chopped, none or cannot-tell; ``duty`` 0 to 1."""

    average: float
    uncertainty: float
    unit: str
    drive: str
    hertz: float = 0.0
    duty: float = 1.0

    @property
    def says(self) -> str:
        """Return what the average is of."""
        how = {"none": "does not stand out of the noise", "cannot-tell": "may be chopped"}
        return f"average of a hold that {how.get(self.drive, f'is {self.drive}')}"


def hold_of(trace: Trace, role: str, since: float, level: Level | None) -> Hold | None:
    """Return the hold after a moment in seconds; None where it does not last.

    ``level`` is its pulse: what it stood at before is the clamp's zero. Without one it was on
    throughout or not at all, and is taken as it is.
    """
    values = trace.between(role, since, np.inf)
    if level is not None:
        known = level.begun and abs(level.top) > abs(level.base)
        zero = np.float32(level.base if known else 0.0)
        before = trace.between(role, since - BEFORE, since) - zero
        values = _lasting(trace, values - zero, before)
    if len(values) * trace.step < LEAST_SECONDS:
        return None
    unit, average = ROLES[role], float(values.mean(dtype=np.float64))
    pieces = means(values, max(1, len(values) // 10))
    doubt = float(np.std(pieces) / np.sqrt(len(pieces))) + 1e-3
    looked = values[:MOST_LOOKED_AT]
    ripple = float(np.std(looked))
    if abs(average) < 1e-9 or ripple < RIPPLE * abs(average):
        return Hold(average, doubt, unit, "steady" if abs(average) >= 1e-9 else "none")
    hertz, share = _line(trace, looked)
    if share <= LINE_SHARE or hertz * trace.step >= 0.1:
        return Hold(average, doubt, unit, "none" if abs(average) < ripple else "cannot-tell")
    middle = (np.percentile(looked, 1) + np.percentile(looked, 99)) / 2
    return Hold(average, doubt, unit, "chopped", hertz, float(np.mean(looked > middle)))


def _lasting(trace: Trace, values: Samples, before: Samples) -> Samples:
    """Return the part until it falls to less than half of what it began with, in 50 ms means.

    Nothing is left of a hold that ended as the pull did: the command may have been taken off.
    """
    size = max(1, round(0.05 / trace.step))
    pieces = means(values, size)
    if len(pieces) < 3:
        return values[:0]
    held = float(before[: len(before) // 2].mean()) if len(before) > 1 else 0.0
    if abs(float(np.median(pieces[:3]))) < 0.25 * abs(held):
        return values[:0]
    low = np.flatnonzero(np.abs(pieces) < 0.5 * abs(float(np.median(pieces[:3]))))
    return values[: (int(low[0]) - 1) * size if len(low) else len(values)]


def _line(trace: Trace, values: Samples) -> tuple[float, float]:
    """Return the strongest frequency in hertz, and its share of the power with its harmonics."""
    hertz, power = scipy.signal.periodogram(
        values, fs=1 / trace.step, window="hann", detrend="constant"
    )
    power = np.where(hertz < LEAST_HERTZ, 0.0, power)
    peak = int(np.argmax(power))
    total = float(power.sum())
    if not total:
        return 0.0, 0.0
    near = np.abs(hertz / hertz[peak] - np.round(hertz / hertz[peak])) < 3 / peak + 1e-9
    return float(hertz[peak]), float(power[near & (hertz > 0.5 * hertz[peak])].sum()) / total
