"""The rising current of a pull winding while its plunger moves, and the fit of it to samples.

The flux linkage of a winding of R ohm and L(x) henry behind a voltage u obeys d(L i)/dt = u - R i
(Faraday; L grows as the plunger closes the gap, and i dL/dt is the back-EMF that notches the
current). With lambda = L / R and psi = lambda i R: d psi/dt = u - psi / lambda, which is linear in
psi and exact here from sample to sample, L and u taken at their middle. A plunger that stays has L
constant and the textbook answer i = u / R (1 - exp(-t R / L)).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import scipy  # its parts are loaded when first used

from engine.traces.trace import Floats, means

LEAST_TAU, MOST_TAU = 0.0003, 0.15  # s, L over R with the gap open
# What any plunger on its way to the stop adds to the current at least: the square of what no rise
# without it explains, over the settled current's, in seconds (judgement: half of the weakest of
# 150 that ngspice moved, tests/traces).
LEAST_NOTCH = 2e-4
SIGMAS = 3.0  # by which a notch must be missing before a plunger is said to stay
SURE = 60.0  # gain in chi squared above which it moved
SLOWEST = 0.002  # s between samples; slower ones miss a notch or make one
UNSURE_SEAT = 0.006  # s: a seat that is known no better may be none
SMALL = float(np.sqrt(np.finfo(np.float64).eps))  # step of a slope, over the value
GAP_SHARPNESS = 4.0  # open gap over what the iron's own reluctance equals (judgement)
LEAST_DEPTH = 0.012  # share of the settled current that a notch must have
EARLIEST = 0.012  # s after the contact; before it a notch may be a bouncing contact


@dataclass(frozen=True)
class PullWindow:
    """The samples that are fitted: seconds from the contact, amperes, and what drives them.

    ``drive`` is the pull voltage over its settled value where it was recorded (``timed``: it says
    when the contact closed), else ones. ``hum`` in hertz, 0 without.
    """

    seconds: Floats
    amperes: Floats
    drive: Floats
    hum: float = 0.0
    timed: bool = False

    @property
    def step(self) -> float:
        """Return the seconds between samples."""
        return float(self.seconds[1] - self.seconds[0])

    def coarse(self) -> "PullWindow":
        """Return the window with some 250 samples, means of the others: where a fit begins."""
        size = max(1, len(self.seconds) // 250)
        return replace(
            self, seconds=means(self.seconds, size), amperes=means(self.amperes, size),
            drive=means(self.drive, size),
        )  # fmt: skip


@dataclass(frozen=True)
class WindingFit:
    """What came out: settled amperes, L / R open and seated, when the contact closed and the
    plunger seated, in seconds.

    ``*_u`` are standard uncertainties of the fit, correlated residuals counted. ``moved`` None is
    cannot tell; ``depth`` is the notch in amperes.
    """

    amperes: float
    amperes_u: float
    onset: float
    tau_open: float
    tau_seated: float
    seats: float
    seats_u: float
    depth: float
    moved: bool | None
    settled: bool
    at_seat: float
    curve: Floats


def rise(seconds: Floats, drive: Floats, tau: Floats | float) -> Floats:
    """Return amperes over their settled value for ``tau`` = L / R in seconds, maybe over time.

    Several rises at once have a row each, of ``drive`` or of ``tau``.
    """
    step = seconds[1] - seconds[0]
    shape = np.broadcast_shapes(np.shape(tau), drive.shape)
    inverse, drive = np.broadcast_to(1.0 / np.asarray(tau), shape), np.broadcast_to(drive, shape)
    middle = (inverse[..., 1:] + inverse[..., :-1]) / 2
    kept = np.exp(-middle * step)
    # psi[k + 1] = kept psi[k] + gained: two diagonals, solved in one stable sweep
    gained, diagonals = np.zeros(shape), np.ones((2, *shape))
    gained[..., 1:] = (drive[..., 1:] + drive[..., :-1]) / 2 * (1 - kept) / middle
    diagonals[1, ..., :-1], diagonals[1, ..., -1] = -kept, 0.0
    psi = scipy.linalg.solve_banded(
        (1, 0), diagonals.reshape(2, -1), gained.reshape(-1), check_finite=False
    )
    return psi.reshape(shape) * inverse


@dataclass(frozen=True)
class Motion:
    """How a plunger goes: seconds at which it begins and seats, power of time, L seated / open."""

    begins: float | Floats
    seats: float | Floats
    power: float | Floats
    ratio: float | Floats

    def grown(self, seconds: Floats) -> Floats:
        """Return the inductance over that of the open gap.

        The inductance of a gap that closes is a hyperbola of what is left of it.
        """
        way = np.clip((seconds - self.begins) / (self.seats - self.begins), 0, 1) ** self.power
        return 1 + (self.ratio - 1) * way / (1 + GAP_SHARPNESS * (1 - way))


def _shape(window: PullWindow, values: Floats) -> Floats:
    """Return the current over its settled value for the parameters of a fit, in their logs.

    A row each for rows of parameters.
    """
    each = [values[..., n : n + 1] for n in range(values.shape[-1])]
    onset = -1.0 if window.timed else each[0]
    since = np.clip((window.seconds - onset) / window.step, 0.0, 1.0)
    tau = np.exp(each[1])
    if len(each) > 2:
        motion = Motion(each[3], each[3] + np.exp(each[4]), each[5], np.exp(each[2]))
        tau = tau * motion.grown(window.seconds)
    return rise(window.seconds, window.drive * since, tau)


def _columns(window: PullWindow, values: Floats) -> Floats:
    """Return what the amperes are a weighted sum of: the shape, and the hum where there is any."""
    columns = [_shape(window, values)]
    if window.hum:
        angle = 2 * np.pi * window.hum * window.seconds
        columns += [
            np.broadcast_to(one, columns[0].shape) for one in (np.sin(angle), np.cos(angle))
        ]
    return np.stack(columns, axis=-1)


def _weighted(window: PullWindow, values: Floats) -> tuple[Floats, Floats]:
    columns = _columns(window, values)
    turned = np.swapaxes(columns, -1, -2)
    square = turned @ columns + 1e-12 * np.eye(columns.shape[-1])
    weights = np.linalg.solve(square, (turned @ window.amperes)[..., None])[..., 0]
    return columns, np.asarray(weights, np.float64)


def _residual(window: PullWindow) -> Callable[[Floats], Floats]:
    def residual(values: Floats) -> Floats:
        columns, weights = _weighted(window, values)
        return (columns @ weights[..., None])[..., 0] - window.amperes

    return residual


def _least_squares(
    residual: Callable[[Floats], Floats], start: Floats, low: Floats, high: Floats, **how: Any
) -> "scipy.optimize.OptimizeResult":
    """Fit, with slopes from forward differences as SciPy takes them, but all in one go."""

    def slopes(values: Floats) -> Floats:
        step = SMALL * np.where(values < 0, -1.0, 1.0) * np.maximum(1.0, np.abs(values))
        step = np.where((values + step < low) | (values + step > high), -step, step)
        found = residual(np.vstack([values, values + np.diag(step)]))
        return np.asarray(((found[1:] - found[0]) / step[:, None]).T)

    return scipy.optimize.least_squares(residual, start, slopes, (low, high), **how)


@dataclass(frozen=True)
class _Moving:
    """The fit of a plunger that goes: what it gains in chi squared, its notch, its seat."""

    values: Floats
    noise: float
    gain: float
    depth: float
    seats_u: float

    @property
    def seats(self) -> float:
        """Return when it seats, in seconds of the window."""
        return float(self.values[3] + np.exp(self.values[4]))


def fit(window: PullWindow) -> WindingFit:
    """Fit the plunger that stays and the plunger that goes, and say which the samples tell."""
    stays = _fit_still(window)
    goes = _fit_moving(window, stays)
    still, moving = float(stays.fun @ stays.fun), float(goes.fun @ goes.fun)
    noise = moving / (len(goes.fun) - len(goes.x) - 1) * _inflation(goes.fun)
    gain = (still - moving) / max(noise, 1e-18)
    found = _Moving(goes.x, noise, gain, _depth(window, goes.x), _seat_uncertainty(goes, noise))
    # what is fitted by the plunger that stays is judged by its own residuals
    alone = still / (len(stays.fun) - 3) * _inflation(stays.fun)
    moved = _verdict(window, found, alone)
    return _told(window, found.values if moved else stays.x, found, moved)


def _fit_still(window: PullWindow) -> "scipy.optimize.OptimizeResult":
    end = window.seconds[-1]
    low = np.array([-0.028, np.log(LEAST_TAU)])
    high = np.array([min(0.03, end / 2), np.log(MOST_TAU)])
    starts = [np.array([0.0, np.log(tau)]) for tau in (0.001, 0.004, 0.012, 0.03)]
    residual = _residual(window)
    best = min(starts, key=lambda one: float(np.sum(residual(one) ** 2)))
    return _least_squares(residual, best, low, high, x_scale=[0.001, 0.3])


def _fit_moving(
    window: PullWindow, stays: "scipy.optimize.OptimizeResult"
) -> "scipy.optimize.OptimizeResult":
    """Fit motion from the best of a grid of starts."""
    end, residual = float(window.seconds[-1]), _residual(window)
    low = np.array([-0.028, np.log(LEAST_TAU), 0.0, -0.04, np.log(0.004), 1.0])
    high = np.array([0.03, np.log(MOST_TAU), np.log(12), end, np.log(end + 0.04), 8.0])
    starts = []
    places = np.linspace(EARLIEST, 0.97 * end, max(20, min(60, int(end / 0.008))))
    for seats, share, ratio in product(places, (0.3, 0.9), (1.5, 3.0)):
        length = max(share * seats, 0.0041)
        tau = stays.x[1] - 0.3
        starts.append(np.array([stays.x[0], tau, np.log(ratio), seats - length, np.log(length), 3]))
    some = np.clip(starts, low + 1e-6, high - 1e-6)
    rough = _residual(window.coarse())
    ranked = some[np.argsort((rough(some) ** 2).sum(axis=1), kind="stable")]
    how: dict[str, Any] = {"x_scale": [0.001, 0.3, 0.3, 0.01, 0.3, 1.0], "max_nfev": 40}
    tried = [
        _least_squares(rough, one, low, high, **how)
        for one in (ranked[0], ranked[len(ranked) // 20])
    ]
    best = min(tried, key=lambda one: float(one.cost)).x
    return _least_squares(residual, best, low, high, **how)


def _inflation(residuals: Floats) -> float:
    """Return how much less correlated residuals tell: (1 + r) / (1 - r), first order."""
    total = float(residuals @ residuals)
    r = float(residuals[1:] @ residuals[:-1]) / total if total else 0.0
    r = min(max(r, 0.0), 0.98)
    return (1 + r) / (1 - r)


def _depth(window: PullWindow, values: Floats) -> float:
    """Return how far the fitted current falls from its peak before the seat, in amperes."""
    steady = replace(window, drive=(window.seconds > 0).astype(np.float64))
    shape = _shape(steady, values)
    _, weights = _weighted(window, values)
    seat = int(np.searchsorted(window.seconds, values[3] + np.exp(values[4])))
    until = shape[: seat + 2]
    return float((until.max() - until[-1]) * weights[0])


def _seat_uncertainty(goes: "scipy.optimize.OptimizeResult", noise: float) -> float:
    """Return the standard uncertainty of begin + length, in seconds."""
    covariance, length = np.linalg.pinv(goes.jac.T @ goes.jac) * noise, np.exp(goes.x[4])
    slope = np.array([0, 0, 0, 1.0, length, 0])
    return float(np.sqrt(max(slope @ covariance @ slope, 0.0)))


def _verdict(window: PullWindow, goes: _Moving, alone: float) -> bool | None:
    """Return whether it moved; None where the samples cannot tell.

    What a notch gains is a noncentral chi squared: the root of the gain lies a standard deviation
    of one about the root of the notch's energy over the noise. ``alone`` is the noise about the
    plunger that stays.
    """
    if window.step > SLOWEST:
        return None
    settled = float(np.median(window.amperes[-max(5, len(window.amperes) // 10) :]))
    weakest = LEAST_NOTCH * settled**2 / (window.step * max(alone, 1e-18))
    if np.sqrt(max(goes.gain, 0.0)) + SIGMAS < np.sqrt(weakest):
        return False
    onset = 0.0 if window.timed else goes.values[0]
    beyond = goes.seats >= window.seconds[-1] - 3 * window.step  # no seat while the pull lasts
    early = goes.seats - onset <= EARLIEST
    clear = goes.gain > SURE and goes.depth > LEAST_DEPTH * settled
    told = clear and not early and not beyond and goes.seats_u < UNSURE_SEAT
    return True if told else None


def _told(window: PullWindow, values: Floats, goes: _Moving, moved: bool | None) -> WindingFit:
    columns, weights = _weighted(window, values)
    curve = columns @ weights
    spread = float(np.linalg.pinv(columns.T @ columns)[0, 0]) * goes.noise
    tau = float(np.exp(values[1]))
    return WindingFit(
        amperes=float(weights[0]), amperes_u=float(np.sqrt(max(spread, 0.0))),
        onset=0.0 if window.timed else float(values[0]), tau_open=tau,
        tau_seated=tau * float(np.exp(values[2])) if moved else tau,
        seats=goes.seats, seats_u=goes.seats_u, depth=goes.depth,
        moved=moved, settled=bool(columns[-1, 0] > 0.9),
        at_seat=float(np.interp(goes.seats, window.seconds, curve)), curve=curve,
    )  # fmt: skip
