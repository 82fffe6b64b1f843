"""Scores of probabilities and shares, as plain sums."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

CALIBRATION_AIM = 0.03
LEAST_IN_BAR = 10
SMALLEST = 1e-6  # a probability below this counts as this in the log loss: the answer's last digit


def brier_of_many(chances: Mapping[str, float], truth: str) -> float:
    """Return the sum over causes of squared distances to the truth (0 best, 2 worst)."""
    missing = 0.0 if truth in chances else 1.0
    return missing + sum((p - (name == truth)) ** 2 for name, p in chances.items())


def log_loss_of_many(chances: Mapping[str, float], truth: str) -> float:
    """Return minus the natural log of the chance given to the true cause."""
    return -math.log(max(chances.get(truth, 0.0), SMALLEST))


@dataclass(frozen=True)
class Bin:
    """One bar of a reliability diagram."""

    count: int
    said: float
    came_true: float


def reliability(chances: Sequence[float], truth: Sequence[int], bins: int = 10) -> list[Bin]:
    """Return the bars of a reliability diagram with bins of even width; empty ones left out."""
    said, came = np.asarray(chances, dtype=float), np.asarray(truth, dtype=float)
    place = np.minimum((said * bins + 1e-9).astype(int), bins - 1)
    return [
        Bin(int(mine.sum()), float(said[mine].mean()), float(came[mine].mean()))
        for number in range(bins)
        if (mine := place == number).any()
    ]


def calibration_error(chances: Sequence[float], truth: Sequence[int], bins: int = 10) -> float:
    """Return the expected calibration error: mean of |said - came true| over the bars, weighted."""
    bars = reliability(chances, truth, bins)
    total = sum(bar.count for bar in bars)
    return sum(bar.count * abs(bar.said - bar.came_true) for bar in bars) / total


def calibration_by_chance(
    chances: Sequence[float], bins: int = 10, draws: int = 2000
) -> tuple[float, float]:
    """Return the calibration error that forecasts show when they are exactly right.

    Outcomes are drawn from the forecasts themselves; returns the mean and the 95th percentile of
    the error over the draws. A few hundred cases never fall just as foretold: an error up to the
    second number says nothing against the forecasts.
    """
    said = np.asarray(chances, dtype=float)
    place = np.minimum((said * bins + 1e-9).astype(int), bins - 1)
    came = np.random.default_rng(0).random((draws, len(said))) < said
    bars = np.eye(bins)[place]
    errors = np.abs((came - said) @ bars).sum(axis=1) / len(said)
    return float(errors.mean()), float(np.quantile(errors, 0.95))


def machines_for_calibration(
    chances: Sequence[float], aim: float = CALIBRATION_AIM, bins: int = 10
) -> int:
    """Return from how many such forecasts on an error of ``aim`` can be shown at all.

    There forecasts that are exactly right stay within it in 95 of 100 runs: chance falls with the
    root of their number, while the chances are spread as these are.
    """
    _, most = calibration_by_chance(chances, bins)
    return math.ceil(len(chances) * (most / aim) ** 2)


def calibration_interval(
    chances: Sequence[float], truth: Sequence[int], bins: int = 10, draws: int = 1000
) -> tuple[float, float]:
    """Return the 95 % interval of the calibration error: percentiles over resampled cases.

    Source: the percentile bootstrap, Efron 1979.
    """
    said, came = np.asarray(chances, dtype=float), np.asarray(truth, dtype=float)
    bars = np.eye(bins)[np.minimum((said * bins + 1e-9).astype(int), bins - 1)]
    count = len(said)
    weights = np.random.default_rng(0).multinomial(count, np.full(count, 1 / count), draws)
    errors = np.abs((weights * (came - said)) @ bars).sum(axis=1) / count
    return float(np.quantile(errors, 0.025)), float(np.quantile(errors, 0.975))


def debiased_calibration(
    chances: Sequence[float], truth: Sequence[int], most_bars: int = 10
) -> tuple[float, float, float] | None:
    """Return the calibration error less what chance adds to it, and its 95 % interval.

    The root of the mean square of said - came true over bars of even count, each square less the
    sampling variance of its mean (Kumar, Liang and Ma 2019, Verified Uncertainty Calibration, there
    for equal forecasts in a bar): forecasts that are exactly right show about 0 however few they
    are, where ``calibration_error`` shows what chance alone does. A root mean square is never below
    the mean distance. The interval is the normal approximation of the square, whose variance holds
    for forecasts that are exactly right too: with a mean of m and a variance of v over n it is
    4 m^2 v / n + 2 v^2 / (n (n - 1)) (for a normal mean; compare Sun and others 2024, A Confidence
    Interval for the Expected Calibration Error). None for fewer than 20 cases.
    """
    bars = min(most_bars, len(chances) // LEAST_IN_BAR)
    if bars < 2:
        return None
    said, came = np.asarray(chances, dtype=float), np.asarray(truth, dtype=float)
    missed = (came - said)[np.argsort(said, kind="stable")]
    square = spread = 0.0
    for bar in np.array_split(missed, bars):
        count, variance = len(bar), float(bar.var(ddof=1))
        mine, weight = float(bar.mean()) ** 2 - variance / count, count / len(missed)
        square += weight * mine
        spread += weight**2 * (
            4 * max(mine, 0.0) * variance / count + 2 * variance**2 / (count * (count - 1))
        )
    half = 1.96 * math.sqrt(spread)
    middle, low, high = (math.sqrt(max(one, 0.0)) for one in (square, square - half, square + half))
    return middle, low, high


def wilson(hits: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    """Return the 95 % interval of a share. Source: Wilson 1927. Raises ValueError for none."""
    if of <= 0:
        raise ValueError("an interval needs at least one case")
    share, square = hits / of, z * z
    middle = (share + square / (2 * of)) / (1 + square / of)
    half = z * math.sqrt(share * (1 - share) / of + square / (4 * of * of)) / (1 + square / of)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def mean_interval(values: Sequence[float]) -> tuple[float, float, float]:
    """Return mean and its 95 % interval by the normal approximation."""
    middle = float(np.mean(values))
    half = 1.96 * float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0
    return middle, middle - half, middle + half
