"""What every check would read or show under each hypothesis, with its uncertainty.

Readings. ``y ~ Normal(mu, sigma)`` on a scale that is linear for volts and amperes and, for ohms
and seconds, logarithmic with a linear foot (asinh): resistances span decades, and zero must stay
on the scale. sigma^2 adds the meter, the repeatability, the tolerances of a good circuit by the
law of propagation (JCGM 100:2008, 5.1.2) and the width of the severity that a hypothesis stands
for. What a reading owes to each tolerance is kept as its loading on that quantity, for the readings
share them (engine.reasoning.joint). A small share of every likelihood lies flat over the
instrument's range, so that one bad reading cannot veto the truth.

Outcomes. Rows by cause where the trade knows better, else a tree over the events of
engine.physics.behaviour; a small share of all answers is simply wrong, spread evenly.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from engine.calculations import meter as meter_sums
from engine.knowledge import items
from engine.physics.band import OPEN_OHMS, Band, open_band, readable
from engine.physics.circuit import Floats, Sensitivity
from engine.physics.hypotheses import Cases
from engine.physics.machine import Variant
from engine.physics.solution import Situation, Solution

FLAT_SHARE = 0.02
OPEN_SURE = 0.97  # chance that an open circuit shows as over range, and not as some leakage
FALSE_OPEN = 0.01
# The foot is about what a common ohmmeter and its leads add: below it the scale is linear.
OHMS_FOOT, SECONDS_FOOT = 0.3, 0.2
LEAD_ZEROED_U = 0.02  # ohm, left after subtracting the stated leads (judgement)
# A pull that stays on is timed till somebody takes the command off: past three seconds by the
# check's own words, and now and then after a minute (judgement). The spread is in logs.
STUCK_SECONDS, STUCK_SPREAD = 6.0, 0.8
BINS = 10
GRID, GRID_STEP = 160, 13  # of values among which a quantile is looked for
TAIL = float(ndtr(-2.0))  # what lies outside two standard uncertainties, on either side


@dataclass(frozen=True)
class Instrument:
    """Accuracy of a meter: ``percent`` of reading plus ``counts`` of its ``resolution``."""

    percent: float
    counts: float
    resolution: float
    lead_u: float = 0.0

    def variance(self, values: Floats) -> Floats:
        """Return the variance in the unit of ``values`` (half-width over root three, squared)."""
        half = meter_sums.half_width(values, self.percent, self.counts, self.resolution)
        return meter_sums.standard_uncertainty(half) ** 2 + self.lead_u**2

    def gain(self, values: Floats) -> Floats:
        """Return the standard uncertainty that all readings of this meter share: its percent."""
        return meter_sums.standard_uncertainty(meter_sums.half_width(values, self.percent))


def instrument_from(row: Mapping[str, Any]) -> Instrument:
    """Return an instrument from a row of kb/tables/instruments.yaml.

    Leads that nobody zeroed lie anywhere between the row's limits; half that spread is likely to
    have been zeroed out, so the standard uncertainty is that of a rectangle from 0 to the upper.
    """
    lead = float(row.get("lead_ohms_high", 0.0)) / math.sqrt(12.0)
    return Instrument(
        float(row["percent"]), float(row["counts"]), float(row["resolution"]), lead_u=lead
    )


@dataclass(frozen=True)
class Scale:
    """The scale on which a quantity is compared; ``foot`` 0 is plain linear."""

    foot: float

    def of(self, values: Any) -> Any:
        """Return values on the scale."""
        return np.arcsinh(np.asarray(values) / self.foot) if self.foot else np.asarray(values)

    def slope(self, values: Floats) -> Floats:
        """Return the derivative of the scale at ``values``."""
        if not self.foot:
            return np.ones_like(values)
        return 1.0 / np.sqrt(values**2 + self.foot**2)

    def back(self, scaled: Any) -> Any:
        """Return the values that stand at ``scaled``."""
        return np.sinh(scaled) * self.foot if self.foot else scaled


SCALES = {
    "V": Scale(0.0), "A": Scale(0.0), "ohm": Scale(OHMS_FOOT), "s": Scale(SECONDS_FOOT),
}  # fmt: skip


Rows = NDArray[np.bool_] | NDArray[np.intp] | Sequence[int] | slice  # of hypotheses
ALL = slice(None)
SEVERITY = "severity"  # the shared quantity that places a fault within its neighbourhood
SUPPLY = "supply:"  # with the phase: the supply of a moment at which the engine may run or not
LEAST_SIGMA = 1e-9  # in the unit of a check's scale: a reading that always comes out the same
KEPT_LOADING = 0.02  # share of a reading's uncertainty below which a quantity is not kept apart


@dataclass(frozen=True)
class Loadings:
    """What a reading owes to quantities that other readings share with it.

    ``shared`` (hypothesis, quantity): change of the reading, in its unit, for one standard
    uncertainty of the quantity. ``rest`` (hypothesis,): variance of what is not kept apart.
    """

    quantities: tuple[str, ...]
    shared: NDArray[np.float32]
    rest: Floats

    @property
    def variance(self) -> Floats:
        """Return the whole variance (law of propagation, JCGM 100:2008, 5.1.2)."""
        return (self.shared.astype(np.float64) ** 2).sum(-1) + self.rest

    def on(self, quantities: Sequence[str], rows: Rows = ALL) -> Floats:
        """Return the loadings of some rows on some quantities, zero where there is none."""
        place = {name: number for number, name in enumerate(quantities)}
        here = [number for number, name in enumerate(self.quantities) if name in place]
        shared = self.shared[rows]
        found = np.zeros((len(shared), len(quantities)))
        found[:, [place[self.quantities[number]] for number in here]] = shared[:, here]
        return found


def loadings_of(
    quantities: Sequence[str], columns: Floats, floors: Sequence[float]
) -> list[Loadings]:  # fmt: skip
    """Return the loadings of readings; what is small beside its floor goes to the rest.

    ``columns`` (quantity, reading, hypothesis); ``floors`` is a variance for each reading.
    """
    squares = columns**2
    whole = np.array(floors)[:, None] + squares.sum(axis=0)
    kept = (squares > KEPT_LOADING**2 * whole).any(axis=2)
    return [
        Loadings(
            tuple(name for name, keep in zip(quantities, mine, strict=True) if keep),
            columns[mine, n].T.astype(np.float32, order="C"), squares[~mine, n].sum(axis=0),
        )
        for n, mine in enumerate(kept.T)
    ]  # fmt: skip


@dataclass(frozen=True)
class Forecast:
    """Results of a check and the chance of each under every hypothesis, (hypothesis, result).

    In memory they lie result by result, so that those of many checks are quickly put together.
    ``edges`` are the limits between stretches of readings, on the scale, at even steps of the
    mixture over hypotheses; for ohms the last result is over range. Outcomes have no edges.
    """

    bins: Floats
    edges: Floats


@dataclass(frozen=True)
class ReadingPrediction:
    """A meter check under every hypothesis. ``flat`` marks where the check says nothing."""

    unit: str
    low: float
    high: float
    instrument: Instrument
    repeatability: float
    mu: Floats
    loadings: Loadings
    flat: NDArray[np.bool_]
    meter: str = "meter"  # kind of instrument: readings of one share its gain

    @property
    def nbytes(self) -> int:
        """Return about how many bytes it holds once it is in use, the forecast included."""
        return self.loadings.shared.nbytes + self.mu.nbytes * (BINS + 12)

    @cached_property
    def tolerance_var(self) -> Floats:
        """Return the variance from one good circuit to another and along the severity."""
        return self.loadings.variance

    @cached_property
    def again_var(self) -> Floats:
        """Return the variance of a reading done again.

        Whoever times what never comes has nothing to start and stop: only his meter errs.
        """
        timed = (self.mu > 0) | (self.unit != "s")
        return np.where(timed, self.repeatability**2, 0.0)

    @property
    def scale(self) -> Scale:
        """Return the scale on which the check is compared."""
        return SCALES[self.unit]

    @property
    def size(self) -> int:
        """Return the number of hypotheses."""
        return len(self.mu)

    @cached_property
    def open(self) -> NDArray[np.bool_]:
        """Return where an ohmmeter would show over range."""
        return (self.mu >= OPEN_OHMS) & (self.unit == "ohm")

    @property
    def width(self) -> float:
        """Return the length of the instrument's range on the scale."""
        top = min(self.high, OPEN_OHMS) if self.unit == "ohm" else self.high
        return float(self.scale.of(top) - self.scale.of(self.low))

    @cached_property
    def middle(self) -> Floats:
        """Return ``mu`` on the scale."""
        return np.asarray(self.scale.of(self.mu))

    @cached_property
    def slope(self) -> Floats:
        """Return the derivative of the scale at ``mu``."""
        return self.scale.slope(self.mu)

    @cached_property
    def _usual(self) -> tuple[Floats, Floats]:
        return self.variance_and_gain(self.instrument)

    def variance_and_gain(self, instrument: Instrument | None) -> tuple[Floats, Floats]:
        """Return the whole variance of a reading, and what it owes to the meter's gain."""
        if instrument is None:
            return self._usual
        variance = instrument.variance(self.mu) + self.again_var + self.tolerance_var
        return variance, instrument.gain(self.mu)

    @cached_property
    def default_sigma(self) -> Floats:
        """Return ``sigma`` with the usual instrument."""
        return np.sqrt(self._usual[0]) * self.slope

    def sigma(self, instrument: Instrument | None = None) -> Floats:
        """Return the standard uncertainty on the scale under every hypothesis."""
        if instrument is None:
            return self.default_sigma
        return np.sqrt(self.variance_and_gain(instrument)[0]) * self.slope

    @property
    def gain(self) -> str:
        """Return the name of the quantity that all readings of this kind of meter share."""
        return f"gain:{self.meter}"

    def density(self, value: float, instrument: Instrument | None = None) -> Floats:
        """Return the likelihood of a reading under every hypothesis, per unit of the scale."""
        sigma = self.sigma(instrument)
        z = (self.scale.of(value) - self.middle) / sigma
        bell = np.exp(-0.5 * z**2) / (sigma * math.sqrt(2 * math.pi))
        level = 1.0 / self.width
        mixed = (1 - FLAT_SHARE) * bell + FLAT_SHARE * level
        if self.unit == "ohm":
            mixed = np.where(self.open, (1 - OPEN_SURE) * level, (1 - FALSE_OPEN) * mixed)
        return np.where(self.flat, level, mixed)

    def peak(self, instrument: Instrument | None = None) -> Floats:
        """Return the highest density that any reading could have under every hypothesis."""
        sigma = self.sigma(instrument)
        peak = (1 - FLAT_SHARE) / (sigma * math.sqrt(2 * math.pi)) + FLAT_SHARE / self.width
        return np.where(self.flat, 1.0 / self.width, peak)

    def open_share(self) -> Floats:
        """Return the chance of an over-range display under every hypothesis."""
        shares = np.where(self.open, OPEN_SURE, FALSE_OPEN)
        return np.where(self.flat, 0.5, shares)

    @cached_property
    def forecast(self) -> Forecast:
        """Return what a reading would be before anything is known."""
        return forecasts_around([self], self.middle[:, None], self.default_sigma[:, None])[0]

    @property
    def bins(self) -> Floats:
        """Return the chance of each result under every hypothesis (see Forecast)."""
        return self.forecast.bins

    def band(self, weights: Floats, share: float = 0.9) -> Band:
        """Return the middle ``share`` of readings for weighted hypotheses, with the usual meter.


        Open when an over-range display is the likelier. Raises ValueError when the weights are
        all zero.
        """
        if self._open_part(weights) > 0.5:
            return open_band(self.unit)
        use = (weights > 0) & ~self.open & ~self.flat
        if not use.any():
            return readable(self.low, self.high, self.unit, self.low)
        low, high = self._limits(weights, use, self.default_sigma, (1 - share) / 2, (1 + share) / 2)
        return readable(low, high, self.unit, self.low)

    def good_band(self, weights: Floats) -> Band | None:
        """Return what good machines are within: the middle 95 % of weighted healthy hypotheses.

        Their own spread only: what the meter adds is for the verdict to say. An over-range display
        counts as more than any number. None where the check says nothing.
        """
        known = np.where(self.flat, 0.0, weights)
        if not known.any():
            return None
        opens = self._open_part(known)
        if opens > 1 - TAIL:
            return open_band(self.unit)
        use = (known > 0) & ~self.open
        spread = np.sqrt(self.tolerance_var + self.again_var) * self.scale.slope(self.mu)
        low, high = self._limits(known, use, spread, TAIL / (1 - opens), 1 - TAIL)
        high = self.high if opens > TAIL else high
        band = readable(low, high, self.unit, self.low, fine=True)
        return band.doubted("machine" if _far_apart(self.scale.of(self.mu[use]), spread[use])
                            else None)  # fmt: skip

    def _open_part(self, weights: Floats) -> float:
        total = float(weights.sum())
        if not total > 0:
            raise ValueError("no hypothesis carries weight")
        return float((weights * self.open).sum()) / total

    def _limits(
        self, weights: Floats, use: NDArray[np.bool_], sigma: Floats, *shares: float
    ) -> tuple[float, float]:
        """Return the values below which two shares of the hypotheses in ``use`` read."""
        # what never comes is timed without an error of the hand: it reads nought, and no less
        middle, sigma = self.scale.of(self.mu[use]), np.maximum(sigma[use], LEAST_SIGMA)
        grid = np.linspace((middle - 4 * sigma).min(), (middle + 4 * sigma).max(), GRID)
        weights = weights[use] / weights[use].sum()

        def below(values: Floats) -> Floats:
            found: Floats = ndtr((values[:, None] - middle) / sigma) @ weights
            return found

        # by large steps of the grid where each share falls, and there by small ones
        coarse = np.searchsorted(below(grid[::GRID_STEP]), shares, "right") - 1
        fine = [grid[at : at + GRID_STEP + 1] for at in np.maximum(coarse, 0) * GRID_STEP]
        parts = np.split(below(np.concatenate(fine)), [len(fine[0])])
        low, high = map(np.interp, shares, parts, fine)
        return float(self.scale.back(low)), float(self.scale.back(high))


def own_and_shared(
    found: Sequence[ReadingPrediction], quantities: Sequence[str], rows: Sequence[Rows],
    instruments: Sequence[Instrument | None],
) -> tuple[Floats, Floats]:  # fmt: skip
    """Return what is each reading's own, a variance, and its loadings, both on its scale.

    Of shape (hypothesis, reading) and (.., quantity); ``quantities`` names the last axis, the
    meters' gains among them. ``rows`` are the hypotheses and ``instruments`` the meters of each
    reading. All at once: one by one, most of the time would go into calls.
    """
    place = {name: number for number, name in enumerate(quantities)}
    owed = [(n, name) for n, one in enumerate(found) for name in one.loadings.quantities]
    columns = [(k, n, place[name]) for k, (n, name) in enumerate(owed) if name in place]
    shared = [one.loadings.shared[at] for one, at in zip(found, rows, strict=True)]
    known = [one.variance_and_gain(used) for one, used in zip(found, instruments, strict=True)]
    whole, gain, slope = (
        np.stack([one[at] for one, at in zip(parts, rows, strict=True)], axis=1)
        for parts in ([w for w, _ in known], [g for _, g in known], [one.slope for one in found])
    )
    loadings = np.zeros((*whole.shape, len(quantities)))
    if columns:
        kept, reading, quantity = np.array(columns).T
        loadings[:, reading, quantity] = np.concatenate(shared, axis=1)[:, kept]
    for n, one in enumerate(found):
        if one.gain in place:
            loadings[:, n, place[one.gain]] = gain[:, n]
    least = np.stack([one.again_var[at] for one, at in zip(found, rows, strict=True)], axis=1)
    own = np.maximum(whole - (loadings**2).sum(-1), least)
    return own * slope**2, loadings * slope[..., None]


def forecasts_around(
    found: Sequence[ReadingPrediction], middle: Floats, sigma: Floats, rows: Rows = ALL
) -> list[Forecast]:
    """Return forecasts of readings around ``middle`` by ``sigma`` (hypothesis, reading).

    Both are on the scale of each reading; ``rows`` are the hypotheses that they stand for. All are
    worked out together: one by one, most of the time would go into calls.
    """
    numbers = np.stack([~one.open[rows] & ~one.flat[rows] for one in found], axis=1)
    beyond = np.where(numbers.any(axis=0), np.inf, 0.0)  # sorted behind what is a number
    points = np.concatenate([np.where(numbers, middle + n * sigma, beyond) for n in (-1, 0, 1)])
    points.sort(axis=0)
    counts = 3 * numbers.sum(axis=0)
    place = np.linspace(0, 1, BINS + 1)[1:-1, None] * np.maximum(counts - 1, 0)
    below = np.floor(place).astype(np.intp)
    low, high = (np.take_along_axis(points, n, axis=0) for n in (below, np.ceil(place).astype(int)))
    limits = np.round(low + (high - low) * (place - below), 9)
    steps = np.diff(limits, axis=0, prepend=-np.inf) > 0  # they rise; equal ones are one edge
    inner = [limits[steps[:, n], n] if counts[n] else np.zeros(0) for n in range(len(found))]
    edges = [np.concatenate([[-np.inf], one, [np.inf]]) for one in inner]
    which = np.repeat(np.arange(len(found)), [len(one) for one in edges])
    centre = np.where(numbers, middle, 0.0)
    under = ndtr((np.concatenate(edges) - centre[:, which]) / sigma[:, which])
    bins = _chances(found, np.diff(under, axis=1)[:, which[1:] == which[:-1]],
                    np.array([len(one) + 1 for one in inner]), rows)  # fmt: skip
    return [Forecast(one, steps) for one, steps in zip(bins, inner, strict=True)]


def _chances(
    found: Sequence[ReadingPrediction], shares: Floats, counts: NDArray[np.intp], rows: Rows
) -> list[Floats]:
    """Return the chance of each result, over range last, where a number is not all that may come.

    ``shares`` of the stretches of all readings side by side, ``counts`` of them for each.
    """
    which = np.repeat(np.arange(len(found)), counts)
    ohms = np.array([one.unit == "ohm" for one in found])
    is_open, flat = (
        np.stack(parts, axis=1)
        for parts in ([one.open[rows] for one in found], [one.flat[rows] for one in found])
    )
    over = np.where(ohms, np.where(is_open, OPEN_SURE, FALSE_OPEN), 0.0)
    even, silent = 1.0 / counts, 1.0 / (counts + ohms)
    mixed = (1 - FLAT_SHARE) * shares + FLAT_SHARE * even[which]
    mixed = np.where(is_open[:, which], even[which], mixed) * (1 - over)[:, which]
    mixed = np.where(flat[:, which], silent[which], mixed)
    over = np.where(flat, silent, over)
    return [
        np.concatenate([part.T, over[None, :, n]]).T if ohms[n] else np.asfortranarray(part)
        for n, part in enumerate(np.split(mixed, np.cumsum(counts)[:-1], axis=1))
    ]


def _far_apart(middle: Floats, spread: Floats) -> bool:
    """Return whether what good machines read falls into parts with more between than in them."""
    order = np.argsort(middle)
    low, high = (middle - 2 * spread)[order], (middle + 2 * spread)[order]
    gaps = low[1:] - np.maximum.accumulate(high)[:-1]
    return bool((gaps > (4 * spread).max()).any())


@dataclass(frozen=True)
class OutcomePrediction:
    """An outcome check: the chance of each outcome under every hypothesis."""

    names: tuple[str, ...]
    shares: Floats  # (hypothesis, outcome), rows sum to 1

    @property
    def size(self) -> int:
        """Return the number of hypotheses."""
        return len(self.shares)

    @property
    def nbytes(self) -> int:
        """Return how many bytes it holds."""
        return self.shares.nbytes

    @property
    def bins(self) -> Floats:
        """Return the chance of each outcome; the same as a reading's bins."""
        return self.shares

    def likelihood(self, outcome: str) -> Floats:
        """Return the chance of an outcome under every hypothesis."""
        return self.shares[:, self.names.index(outcome)]


Prediction = ReadingPrediction | OutcomePrediction


def silent(usual: Prediction, count: int) -> Prediction:
    """Return the prediction under ``count`` hypotheses about which a check says nothing."""
    if isinstance(usual, OutcomePrediction):
        names = usual.names
        return OutcomePrediction(names, np.full((count, len(names)), 1.0 / len(names)))
    nothing = Loadings((), np.zeros((count, 0), np.float32), np.ones(count))
    return replace(usual, mu=np.zeros(count), loadings=nothing, flat=np.ones(count, dtype=bool))


def joined(found: Sequence[Prediction]) -> Prediction:
    """Return the predictions of one check under the hypotheses of all variants of a machine."""
    first, *others = found
    if not others:
        return first
    if isinstance(first, OutcomePrediction):
        return OutcomePrediction(first.names, np.concatenate([one.bins for one in found]))
    readings = [one for one in found if isinstance(one, ReadingPrediction)]
    order = tuple(dict.fromkeys(name for one in readings for name in one.loadings.quantities))
    shared = np.zeros((sum(one.size for one in readings), len(order)), np.float32)
    start = 0
    for one in readings:
        places = [order.index(name) for name in one.loadings.quantities]
        shared[start : start + one.size, places] = one.loadings.shared
        start += one.size
    loadings = Loadings(order, shared, np.concatenate([one.loadings.rest for one in readings]))
    return replace(
        first, mu=np.concatenate([one.mu for one in readings]), loadings=loadings,
        flat=np.concatenate([one.flat for one in readings]),
    )  # fmt: skip


@dataclass(frozen=True)
class Predictor:
    """Builds the predictions of one variant."""

    solution: Solution
    events: Mapping[str, Floats]
    instruments: Mapping[str, Mapping[str, Any]]

    def predict_all(self, checks: Mapping[str, items.Check]) -> dict[str, Prediction]:
        """Return the predictions of checks that apply to the variant.

        What is read in one situation is worked out at once: one by one, most of the time would go
        into calls.
        """
        found: dict[str, Prediction] = {}
        together: dict[Situation, dict[str, items.Reading]] = {}
        for name, check in checks.items():
            if check.outcomes is not None:
                found[name] = self._outcomes(name, check.outcomes)
            elif check.reading is not None and check.reading.quantity == "seconds":
                found[name] = self._reading(check.reading, *self._seconds(check.reading))
            elif check.reading is not None:
                together.setdefault(situation_of(check.reading), {})[name] = check.reading
        for situation, readings in together.items():
            mu, loadings = self._circuit(situation, list(readings.values()))
            for (name, reading), *known in zip(readings.items(), mu, loadings, strict=True):
                found[name] = self._reading(reading, *known)
        return found

    @property
    def _cases(self) -> Cases:
        return self.solution.cases

    @property
    def _variant(self) -> Variant:
        return self.solution.cases.variant

    def _reading(self, reading: items.Reading, mu: Floats, loadings: Loadings) -> ReadingPrediction:
        return ReadingPrediction(
            unit=reading.unit, low=reading.low, high=reading.high,
            instrument=instrument_from(self.instruments[reading.instrument]),
            # volts lost on the way keep their share of the supply on a 24 V machine
            repeatability=reading.repeatability
            * (self._variant.system_volts / 12.0 if reading.unit == "V" else 1.0),
            mu=mu, loadings=loadings, flat=np.zeros(len(mu), dtype=bool),
            meter=reading.instrument,
        )  # fmt: skip

    def _circuit(
        self, situation: Situation, readings: Sequence[items.Reading]
    ) -> tuple[Floats, list[Loadings]]:
        """Return values (reading, hypothesis) and loadings of volts, amperes or ohms."""
        solved, which = self.solution.solved[situation], self._cases.which
        coil = self._variant.coil
        pairs = [(one.from_node.get(coil, ""), one.to_node.get(coil, "")) for one in readings]
        names, ohms_u, sources, volts_u = self._uncertainties
        found = solved.resistances(pairs) if situation.dead else solved.read([
            self._cases.part(one.part) if one.quantity == "current" else pair
            for one, pair in zip(readings, pairs, strict=True)
        ], sources)  # fmt: skip
        along = self._along_severity(situation.phase, found)
        columns, parts = np.zeros((len(names) + 1, *along.shape)), len(ohms_u)
        np.take(found.per_log_ohms * ohms_u[:, None, None], which, 2, columns[:parts], "clip")
        columns[-2] = along
        if not situation.dead:
            by_volts = found.per_volt[..., which]
            columns[parts:-2] = by_volts * volts_u[:, None, None]
            # a dead engine and a running one differ in what the whole supply gives, not one source
            supplies = [self._cases.parts[n].kind == "source" for n in sources]
            columns[-1] = by_volts[supplies].sum(axis=0) * self._variant.supply_u(situation.phase)
        names = [*names, f"{SUPPLY}{situation.phase}"]
        floors = [one.repeatability**2 for one in readings]
        return found.value[:, which], loadings_of(names, columns, floors)

    @cached_property
    def _uncertainties(self) -> tuple[Sequence[str], Floats, Sequence[int], Floats]:
        """Return the shared quantities, standard uncertainties of ohms, the sources and theirs.

        Parts to which a fault alone gives volts are among the sources, without an uncertainty.
        """
        parts, variant = self._cases.parts, self._variant
        sources = self._cases.sources
        names = [f"ohms:{part.id}" for part in parts]
        names += [*(f"volts:{parts[n].id}" for n in sources), SEVERITY]
        volts = [
            max(variant.phase_volts(part), key=abs) * variant.volts_tolerance(part)
            for part in (parts[n] for n in sources)
        ]
        return names, np.array([variant.tolerance(one) for one in parts]), sources, np.array(volts)

    def _along_severity(self, phase: str, found: Sensitivity) -> Floats:
        """Return the change of readings over the neighbourhood that a severity stands for.

        Of shape (reading, hypothesis).
        """
        cases, drifts = self._cases, self._cases.drifts_in(items.PHASES.index(phase))
        circuit, part = drifts[:, [0, 2]].T.astype(np.intp)
        moved = found.per_log_ohms[part, :, circuit] * drifts[:, 3, None]
        by_volts = np.flatnonzero(drifts[:, 4])
        if by_volts.size and len(found.per_volt):
            source = np.searchsorted(cases.sources, part[by_volts])
            per_volt = found.per_volt[source, :, circuit[by_volts]]
            moved[by_volts] += per_volt * drifts[by_volts, 4, None]
        along = np.zeros(found.value.T.shape)
        if circuit.size:
            first = np.flatnonzero(np.diff(circuit, prepend=-1))
            along[circuit[first]] = np.add.reduceat(moved, first, axis=0)
        return along[cases.which].T * cases.faults.log_widths[cases.place]

    def _seconds(self, reading: items.Reading) -> tuple[Floats, Loadings]:
        """Return how long the pull pin is live: 0 if never, or a pulse, or till it is ended."""
        pulse = self._cases.setting("pulse-seconds")
        live = self._variant.system_volts * 0.25
        command, after = (
            self.solution.volts(Situation(phase), "pull-pin-harness", "chassis") > live
            for phase in ("on-command", "after-command")
        )
        mu = np.where(command, pulse, 0.0)
        mu = np.where(after, STUCK_SECONDS, mu)
        spread = self._variant.circuit.settings["pulse-seconds"].log_sigma
        share = np.where(after, STUCK_SPREAD, np.where(command, spread, 0.0))
        return mu, loadings_of(["pulse-seconds"], (share * mu)[None, None], [1e-6])[0]

    def _outcomes(self, name: str, outcomes: items.Outcomes) -> OutcomePrediction:
        names, faults, trees = outcomes.names, self._cases.faults, list(outcomes.given.values())
        if name not in faults.tables:  # the rows, and the shares of those that are no branches
            plain = np.array([_shares(one, names) for one in trees]).reshape(-1, len(names))
            faults.tables[name] = faults.rows_of(list(outcomes.given)), plain
        rows, plain = faults.tables[name]
        given = rows[:, self._cases.place]
        shares = np.empty((len(names), *given.shape))
        shares[:] = self._tree(outcomes.tree, names)[:, None]
        nth, mine = np.nonzero(given >= 0)
        shares[:, nth, mine] = plain[given[nth, mine]].T
        for number, tree in enumerate(trees):
            if isinstance(tree, items.Branch):
                nth, mine = np.nonzero(given == number)
                shares[:, nth, mine] = self._tree(tree, names, mine)
        if len(given) > 1:  # of a pair what has a row, and the mean where both have one
            weight = np.where((given < 0).all(axis=0), 1, given >= 0)
            shares = (shares * weight).sum(axis=1, keepdims=True) / weight.sum(axis=0)
        shares = (1 - outcomes.slip) * shares[:, 0].T + outcomes.slip / len(names)
        return OutcomePrediction(names, shares)

    def _tree(
        self, tree: items.Branch | items.Distribution, names: Sequence[str], rows: Rows = ALL
    ) -> Floats:
        """Return the shares (outcome, hypothesis) of a tree, or one column where all agree."""
        if not isinstance(tree, items.Branch):
            return np.array([_shares(tree, names)]).T
        if isinstance(tree.test, str):
            true = self.events[tree.test][rows]
            then, otherwise = (self._tree(one, names, rows) for one in (tree.then, tree.otherwise))
            return true * then + (1 - true) * otherwise
        return self._tree(tree.then if self._holds(tree.test) else tree.otherwise, names, rows)

    def _holds(self, test: items.Applies) -> bool:
        circuit = self._variant.circuit
        facts = self._variant.facts | {"duty": circuit.duty, "control": circuit.control}
        return all(facts[key] in allowed for key, allowed in test.stated().items())


def _shares(tree: items.Branch | items.Distribution, names: Sequence[str]) -> list[float]:
    """Return the shares of a distribution; zeros in place of those of a branch."""
    told = {} if isinstance(tree, items.Branch) else tree
    return [told.get(name, 0.0) for name in names]


def situation_of(reading: items.Reading) -> Situation:
    """Return the situation in which a reading is taken; ohms are read on a dead circuit."""
    dead = reading.quantity == "resistance"
    return Situation(reading.phase, plug_fitted=reading.plug_fitted, added=reading.load, dead=dead)
