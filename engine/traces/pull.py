"""Where the pull begins and ends in a recording, how noisy it is, and what spoils it."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy  # its parts are loaded when first used
from numpy.typing import NDArray

from engine.traces import winding
from engine.traces.trace import Floats, Samples, Trace, means
from engine.traces.winding import PullWindow, WindingFit

BLOCK_SECONDS = 0.001
POINTS = 1000  # that are fitted
LONGEST = 0.8  # s of the pull that are fitted
FALLING = 0.3  # s after the contact opens in which a clamped current has fallen
ZERO = 0.01  # of the level: what a clamp's zero wanders by (judgement)
BRIDGED = 0.02  # s that a contact may bounce or a gap of current may last within one pull
HUMS = (50.0, 60.0)
STANDS_OUT = 0.12  # of the highest level: below it nothing is a pulse
LEAST_BLOCKS = 5


@dataclass(frozen=True)
class Level:
    """One channel around a pulse: level before it and in it, in its unit, and edges in samples.

    ``noise`` is the rms of single samples before it. ``begun`` False: it was on already.
    """

    base: float
    top: float
    first: int
    last: int
    noise: float
    begun: bool = True
    ended: bool = True

    @property
    def height(self) -> float:
        """Return how far it rises."""
        return self.top - self.base


def level_of(trace: Trace, role: str) -> Level | None:
    """Return the first pulse of a channel that stands out of its noise; None without one."""
    values = trace.channels[role]
    size = max(1, round(BLOCK_SECONDS / trace.step))
    blocks = means(values, size)
    lead = blocks[: max(4, len(blocks) // 200)]
    base, scatter = float(np.median(lead)), float(np.std(lead))
    smooth = scipy.ndimage.median_filter(blocks, 3, mode="nearest")
    side = 1.0 if smooth.max() - base >= base - smooth.min() or "volts" in role else -1.0
    rise = side * (smooth - base)
    bridged = round(BRIDGED / (trace.step * size)) + 1
    top = _plateau(rise, scatter, bridged)
    if top is None:
        return None
    first, last = _run(rise > 0.5 * top, bridged)
    if scatter < top / 8:  # a contact that bounces has closed a little before it stays closed
        ahead = max(0, first - bridged // 3)
        made = np.flatnonzero(side * (blocks - base)[ahead:first] > top / 2)
        first = ahead + int(made[0]) if len(made) else first
    early = values[: max(size * _calm(rise, first, max(0.02 * top, 2 * scatter), bridged), 4)]
    cycles = round(0.1 / trace.step)  # whole cycles of either hum
    quiet = early[len(early) % cycles :] if len(early) > cycles else early
    base, half = float(quiet.mean()) if first > 2 else base, base + side * top / 2
    return Level(
        base, half + side * top / 2, *_edges(side * (values - half) > 0, size, first, last),
        float(np.std(early)), first > 2, last < len(blocks) - 2,
    )  # fmt: skip


def _calm(rise: Floats, first: int, limit: float, bridged: int) -> int:
    """Return how many blocks are surely before the pulse, however slowly or roughly it begins."""
    low = np.flatnonzero(rise[: first + 1] < limit)
    until = int(low[-1]) if len(low) else 0
    return max(until - bridged // 2, until // 2, 1)


def _plateau(rise: Floats, scatter: float, bridged: int) -> float | None:
    """Return the level of the first pulse's second half; None where all is but noise.

    Behind a resistance the volts stand high until the current has risen: they count as settled.
    """
    highest = float(rise.max())
    high = rise > max(STANDS_OUT * highest, min(3 * scatter, 0.5 * highest))
    if highest <= max(6 * scatter, 0.0) or np.count_nonzero(high) < LEAST_BLOCKS:
        return None
    first, last = _run(high, bridged)
    return float(np.median(rise[(first + last) // 2 : last + 1]))


def _run(high: NDArray[np.bool_], bridged: int) -> tuple[int, int]:
    """Return the first run of blocks that lasts: its first and last, short breaks bridged."""
    at = np.flatnonzero(high)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(at) > bridged) + 1, [len(at)]])
    for start, end in pairwise(starts):
        if end - start >= LEAST_BLOCKS:
            return int(at[start]), int(at[end - 1])
    return int(at[0]), int(at[-1])


def _edges(high: NDArray[np.bool_], size: int, first: int, last: int) -> tuple[int, int]:
    """Return the samples at which half the level is first and last passed, near two blocks."""

    def crossed(block: int) -> NDArray[np.intp]:
        start = max(0, (block - 1) * size)
        return start + np.flatnonzero(high[start : (block + 2) * size])

    rising, falling = crossed(first), crossed(last)
    start = int(rising[0]) if len(rising) else first * size
    return start, int(falling[-1]) if len(falling) else (last + 1) * size


def hum_of(trace: Trace, level: Level, role: str) -> tuple[float, float]:
    """Return (hertz, amplitude) of the mains' hum before the pull; (0, 0) where there is none."""
    quiet = trace.channels[role][: max(0, level.first - round(0.005 / trace.step))]
    if len(quiet) * trace.step < 0.04:
        return 0.0, 0.0
    quiet = quiet[-round(0.4 / trace.step) :]
    at = np.arange(len(quiet), dtype=np.float64) * trace.step
    found = [(_amplitude(at, quiet, hertz), hertz) for hertz in HUMS]
    amplitude, hertz = max(found)
    doubt = np.std(quiet) * np.sqrt(2 / len(quiet))
    return (hertz, amplitude) if amplitude > 4 * doubt else (0.0, 0.0)


def _amplitude(at: Floats, values: Samples, hertz: float) -> float:
    angle = 2 * np.pi * hertz * at
    columns = np.stack([np.sin(angle), np.cos(angle), np.ones_like(at)], axis=1)
    weights = np.linalg.lstsq(columns, values.astype(np.float64), rcond=None)[0]
    return float(np.hypot(weights[0], weights[1]))


@dataclass(frozen=True)
class Pulled:
    """The fit of the pull and where its window lies in the recording."""

    fit: WindingFit
    window: PullWindow
    origin: float  # seconds of the recording at which the window's time is zero
    side: float  # -1 where the clamp is on the other way round
    base: float  # A before the pull

    def curve(self) -> tuple[tuple[float, float], ...]:
        """Return the fitted current as (seconds, amperes) of the recording, thinned for a plot."""
        thin = slice(None, None, max(1, len(self.window.seconds) // 250))
        seconds, amperes = self.window.seconds[thin] + self.origin, self.fit.curve[thin]
        return tuple(zip(seconds.tolist(), (self.base + self.side * amperes).tolist(), strict=True))


def fitted(trace: Trace, current: Level, volts: Level | None) -> Pulled:
    """Fit the winding's model to the rising current, averaged to some 1000 points."""
    start = (volts or current).first
    last = min(volts.last if volts else current.last, current.last)
    length = min((last - start) * trace.step - 0.002, LONGEST)
    size = max(1, int(length / trace.step / POINTS))
    before = min(start, round((0.008 if volts else 0.03) / trace.step))
    begin, end = start - before, start + int(length / trace.step)
    amperes = means(trace.channels["pull-current"][begin:end], size) - current.base
    side = 1.0 if current.height > 0 else -1.0
    drive = np.ones_like(amperes)
    if volts:
        drive = (means(trace.channels["pull-volts"][begin:end], size) - volts.base) / volts.height
    hertz, _ = hum_of(trace, current, "pull-current")
    step = trace.step * size
    seconds = (np.arange(len(amperes), dtype=np.float64) + 0.5) * step - before * trace.step
    window = PullWindow(seconds, side * amperes, drive, hertz, timed=volts is not None)
    return Pulled(winding.fit(window), window, trace.seconds(start), side, current.base)


def first_sign(trace: Trace, current: Level, onset: float) -> float:
    """Return when current first flowed, in seconds: before the onset where a contact bounced."""
    start = trace.index(onset - 0.012)
    size = max(1, round(0.0003 / trace.step))
    pieces = means(trace.channels["pull-current"][start : trace.index(onset)], size)
    doubt = max(3 * current.noise, 0.06 * abs(current.height))
    high = np.abs(pieces - current.base) > doubt
    at = np.flatnonzero(high)
    return trace.seconds(start + int(at[0]) * size) if len(at) > 1 else onset


def end_of_current(trace: Trace, current: Level, tau: float) -> tuple[float, float]:
    """Return (seconds, standard uncertainty) of the contact's opening, from the falling current.

    A kick that is clamped lets it fall with the winding's own time: level, then an exponential.
    """
    middle = trace.seconds(current.last)
    lo = trace.index(middle - 0.03 - 2 * tau)
    # what comes after half of the fall is the plunger's way back as well
    hi = max(trace.index(middle + 0.001), current.last + 3)
    size = max(1, (hi - lo) // 2000)
    values = means(trace.channels["pull-current"][lo:hi], size) - current.base
    at = (np.arange(len(values)) + 0.5) * trace.step * size
    top = float(np.median(values[: max(3, len(values) // 8)]))
    angle = 2 * np.pi * hum_of(trace, current, "pull-current")[0] * at
    # without hum nothing of it is fitted: what changes nothing keeps a fit from its end
    hum = np.stack([np.sin(angle), np.cos(angle)], axis=1)[:, : 2 * bool(angle[-1])]

    def residual(x: Floats) -> Floats:
        fallen = np.exp(-np.clip(at - x[0], 0, None) / np.exp(x[1]))
        return x[2] * fallen + hum @ x[3:] - values

    half = (current.last - lo) * trace.step
    waves = hum.shape[1]
    low = [0, np.log(5e-5), -np.inf, *[-np.inf] * waves]
    high = [at[-1], np.log(0.3), np.inf, *[np.inf] * waves]
    scale = [0.001, 0.5, abs(top), *[0.1] * waves]
    starts = ([half - 0.7 * one, np.log(one), top, *[0] * waves] for one in (2e-4, tau))
    best = min(
        (
            scipy.optimize.least_squares(residual, one, x_scale=scale, bounds=(low, high))
            for one in starts
        ),
        key=lambda one: float(one.cost),
    )
    noise = 2 * best.cost / max(len(at) - 3, 1)
    spread = np.linalg.pinv(best.jac.T @ best.jac)[0, 0] * noise
    return trace.seconds(lo) + float(best.x[0]), float(np.hypot(np.sqrt(spread), trace.step / 2))


def time_left(trace: Trace, current: Level, volts: Level) -> tuple[float, float]:
    """Return (L / R, standard uncertainty) in seconds as the contact opens, whatever clamps it.

    The flux linkage that a winding has then is burned by R i and taken back by the volts at its
    pin (Faraday: d(L i)/dt = u - R i), so L i is the integral of R i - u; here over R i as it was.
    """
    start = volts.last + 1
    end = start + int(FALLING / trace.step)
    amperes = (trace.channels["pull-current"][start:end] - current.base) / current.height
    back = (trace.channels["pull-volts"][start:end] - volts.base) / volts.height
    block = max(1, round(BLOCK_SECONDS / trace.step))
    over = np.flatnonzero(means(amperes, block) < 3 * current.noise / abs(current.height))
    last = (int(over[0]) + 3) * block if len(over) else len(amperes)
    found = float(np.sum((amperes - back)[:last], dtype=np.float64)) * trace.step
    noise = np.hypot(current.noise / current.height, volts.noise / volts.height)
    doubt = np.hypot(noise * np.sqrt(last) * trace.step, trace.step / 2)
    return found - trace.lag("pull-current"), float(np.hypot(doubt, ZERO * last * trace.step))
