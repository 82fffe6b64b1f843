"""A recording as samples: evenly spaced, each channel in the unit of its role."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.knowledge.faults import Fault, FaultsError, unknown

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

ROLES: Mapping[str, str] = {
    "pull-current": "A", "hold-current": "A", "pull-volts": "V", "hold-volts": "V",
    "battery-volts": "V", "relay-volts": "V",
}  # fmt: skip
TIME, SKIPPED = "time", "-"
MOST_SAMPLES = 12_000_000
LEAST_SAMPLES = 50
_SETUP = re.compile(
    r"(?P<role>[a-z-]+?)(?:\*(?P<gain>-?[\d.]+(?:e-?\d+)?))?(?P<offset>[+-][\d.]+)?(?:@(?P<hertz>[\d.]+))?"
)


def means(values: Samples | Floats, size: int) -> Floats:
    """Return the means of whole blocks of ``size`` samples."""
    whole = len(values) // size * size
    return np.asarray(values[:whole].reshape(-1, size).mean(axis=1, dtype=np.float64), np.float64)


class TraceError(FaultsError):
    """A recording cannot be read; each fault names row and column."""


def refused(path: str, message: str) -> TraceError:
    """Return the exception for one fault."""
    return TraceError([Fault(path, message)])


@dataclass(frozen=True)
class ChannelSetup:
    """How a column is read: ``gain`` units of the role for one as recorded, then ``offset`` added.

    ``hertz`` is the bandwidth of the clamp or probe, None where it is not known.
    """

    role: str
    gain: float = 1.0
    offset: float = 0.0
    hertz: float | None = None


@dataclass(frozen=True)
class Trace:
    """Samples in float32, one array a role, ``step`` seconds apart; ``start`` in seconds.

    ``gaps`` are (index of the first sample after it, seconds that are missing).
    """

    step: float
    channels: Mapping[str, Samples]
    setups: Mapping[str, ChannelSetup]
    start: float = 0.0
    gaps: tuple[tuple[int, float], ...] = ()

    @property
    def size(self) -> int:
        """Return the number of samples a channel."""
        return len(next(iter(self.channels.values())))

    def seconds(self, index: float) -> float:
        """Return when a sample was taken, in seconds of the recording's own time."""
        return self.start + index * self.step + sum(lost for at, lost in self.gaps if at <= index)

    def index(self, seconds: float) -> int:
        """Return the first sample at or after a moment, as far as gaps allow."""
        if not np.isfinite(seconds):
            return self.size
        at = seconds - self.start
        for place, lost in self.gaps:
            at -= min(lost, max(0.0, at - place * self.step))
        return min(max(int(np.ceil(at / self.step)), 0), self.size)

    def between(self, role: str, start: float, end: float) -> Samples:
        """Return a channel's samples from one moment to another, in seconds."""
        return self.channels[role][self.index(start) : self.index(end)]

    def lag(self, role: str) -> float:
        """Return the seconds that a clamp of known bandwidth lags behind: 1 / (2 pi f)."""
        setup = self.setups.get(role)
        return 1 / (2 * np.pi * setup.hertz) if setup and setup.hertz else 0.0


def channels_from(words: Sequence[str]) -> tuple[ChannelSetup, ...]:
    """Read columns such as ``time``, ``pull-current*10@20000``, ``-`` (not used).

    Raises TraceError that names the place and the nearest role.
    """
    found, faults = [], []
    for place, word in enumerate(words):
        path = f"channels[{place}]"
        try:
            found.append(_setup(path, word.strip()))
        except TraceError as error:
            faults += error.faults
    named = [one.role for one in found if one.role != SKIPPED]
    twice = sorted({role for role in named if named.count(role) > 1})
    faults += [Fault("channels", f"'{role}' stands twice; name it once") for role in twice]
    if not faults and not set(named) - {TIME}:
        faults.append(Fault("channels", f"name a column; one of: {', '.join(ROLES)}"))
    if faults:
        raise TraceError(faults)
    return tuple(found)


def _setup(path: str, word: str) -> ChannelSetup:
    if word == SKIPPED:
        return ChannelSetup(SKIPPED)
    match = _SETUP.fullmatch(word)
    role = match["role"] if match else word
    if role not in (TIME, *ROLES):
        raise refused(path, unknown("channel", role, [TIME, *ROLES]))
    assert match
    try:
        gain, offset = float(match["gain"] or 1), float(match["offset"] or 0)
        hertz = float(match["hertz"]) if match["hertz"] else None
    except ValueError:
        raise refused(path, f"write it as {role}*GAIN+OFFSET@HERTZ, such as {role}*10") from None
    if gain == 0 or hertz == 0:
        raise refused(path, "gain and bandwidth cannot be 0")
    return ChannelSetup(role, gain, offset, hertz)
