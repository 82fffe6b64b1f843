"""Densities and bins against SciPy's distributions, units against pint, relations against both."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from engine import Diagnoser, Knowledge
from engine.knowledge import items
from engine.physics.band import OPEN_OHMS
from engine.physics.circuit import Floats
from engine.physics.model import Model
from engine.physics.prediction import (
    FALSE_OPEN,
    FLAT_SHARE,
    OPEN_SURE,
    Instrument,
    ReadingPrediction,
)
from engine.reasoning.request import UNIT_WORDS
from tests.reference import draws
from tests.sweeps import swept

Figure = Callable[[str], None]


@pytest.fixture(scope="module")
def model(diagnoser: Diagnoser) -> Model:
    """Give the model of one random 12 V machine."""
    return diagnoser.models.get(draws.machine(draws.generator(41), draws.MACHINE_KINDS[4]))


@pytest.fixture(scope="module")
def readings(model: Model) -> dict[str, ReadingPrediction]:
    """Give the predictions of every meter check."""
    found = {n: p for n, p in model.predictions.items() if isinstance(p, ReadingPrediction)}
    assert {one.unit for one in found.values()} == set(items.UNITS)
    return found


def mixture(prediction: ReadingPrediction, rows: list[int], scaled: Floats) -> Floats:
    """Return the density by SciPy: a bell, and a share even over the instrument's range."""
    from scipy import stats  # slow to load

    low, middle = (prediction.scale.of(one) for one in (prediction.low, prediction.mu[rows]))
    bell = stats.norm(middle, prediction.default_sigma[rows])
    even = stats.uniform(low, prediction.width)
    density: Floats = (1 - FLAT_SHARE) * bell.pdf(scaled) + FLAT_SHARE * even.pdf(scaled)
    return density


def of_hypotheses(prediction: ReadingPrediction) -> list[int]:
    """Return every seventh hypothesis under which the check shows a number."""
    usable = np.flatnonzero(~prediction.open & ~prediction.flat)
    return [int(one) for one in usable[::7]]


def test_densities_are_scipys(readings: dict[str, ReadingPrediction], figure: Figure) -> None:
    """The likelihood of a reading is SciPy's normal density mixed with its even one."""
    compared = 0
    for name, prediction in swept(readings.items(), 3):
        top = min(prediction.high, OPEN_OHMS)
        scaled = np.linspace(*(float(prediction.scale.of(x)) for x in (prediction.low, top)), 23)
        values = prediction.scale.back(scaled[1:-1])
        share = 1 - FALSE_OPEN if prediction.unit == "ohm" else 1.0
        found = np.stack([prediction.density(float(value)) for value in values])
        rows = of_hypotheses(prediction)
        expected = share * mixture(prediction, rows, scaled[1:-1, None])
        assert found[:, rows] == pytest.approx(expected, rel=1e-9), name
        compared += expected.size
    figure(f"{compared} likelihoods of readings equal to SciPy's")


def test_densities_integrate_to_one(readings: dict[str, ReadingPrediction], figure: Figure) -> None:
    """All that a meter can show has a chance of 1: its range, the tails beyond, and over range."""
    from scipy import integrate, stats

    meter, worst, integrals = Instrument(1.0, 3, 0.01), 0.0, 0
    for name, prediction in swept(readings.items(), 3):
        low, high = (float(prediction.scale.of(prediction.low)), 0.0)
        high = low + prediction.width
        sigmas = prediction.sigma(meter)
        for row in of_hypotheses(prediction)[:2]:
            middle = float(prediction.scale.of(prediction.mu[row]))
            bell = stats.norm(middle, float(sigmas[row]))

            def density(scaled: float, one: ReadingPrediction = prediction, at: int = row) -> float:
                return float(one.density(float(one.scale.back(scaled)), meter)[at])

            points = [x for k in (-6, -1, 0, 1, 6)
                      if low < (x := middle + k * float(sigmas[row])) < high]  # fmt: skip
            inside = integrate.quad(density, low, high, points=points or None, limit=200)[0]
            over = float(prediction.open_share()[row]) if prediction.unit == "ohm" else 0.0
            tails = (1 - over) * (1 - FLAT_SHARE) * (bell.cdf(low) + bell.sf(high))
            assert inside + tails + over == pytest.approx(1.0, abs=1e-6), name
            worst, integrals = max(worst, abs(inside + tails + over - 1)), integrals + 1
    figure(f"{integrals} likelihoods integrate to 1 within {worst:.1e}")


def test_open_readings_have_their_chance(readings: dict[str, ReadingPrediction]) -> None:
    """Under an open circuit over range and the even rest of the scale have a chance of 1."""
    opens = 0
    for prediction in readings.values():
        for row in np.flatnonzero(prediction.open):
            share = float(prediction.open_share()[row])
            assert share == OPEN_SURE
            rest = float(prediction.density(1.0)[row]) * prediction.width
            assert share + rest == pytest.approx(1.0)
            opens += 1
    assert opens > 10


def test_bins_are_scipys(readings: dict[str, ReadingPrediction], figure: Figure) -> None:
    """The chance of each bin is SciPy's, and a row of them sums to 1."""
    from scipy import stats

    compared = 0
    for name, prediction in readings.items():
        bins = prediction.bins
        assert bins.sum(axis=1) == pytest.approx(np.ones(len(bins)), abs=1e-12), name
        edges = np.concatenate([[-np.inf], prediction.forecast.edges, [np.inf]])
        ohms = prediction.unit == "ohm"
        rows = of_hypotheses(prediction)
        bell = stats.norm(prediction.scale.of(prediction.mu[rows]), prediction.default_sigma[rows])
        chances = np.diff(bell.cdf(edges[:, None]), axis=0).T
        mixed = (1 - FLAT_SHARE) * chances + FLAT_SHARE / chances.shape[1]
        found = bins[rows, :-1] / (1 - FALSE_OPEN) if ohms else bins[rows]
        assert found == pytest.approx(mixed, abs=1e-12), name
        compared += mixed.size
    figure(f"{compared} bins equal to SciPy's")


@pytest.fixture(scope="module")
def registry() -> Any:
    """Give pint's units."""
    from pint import UnitRegistry

    return UnitRegistry()


def test_units_are_pints(registry: Any) -> None:
    """Every unit word that a request may use is worth what pint says it is."""
    names = {"V": "volt", "A": "ampere", "ohm": "ohm", "s": "second"}
    assert set(names) == set(items.UNITS)
    for word, (unit, factor) in UNIT_WORDS.items():
        quantity = registry.Quantity(1.0, word).to(names[unit])
        assert math.isclose(quantity.magnitude, factor, rel_tol=1e-12), word


def test_readings_know_their_units(knowledge: Knowledge, registry: Any) -> None:
    """Each reading's unit has the dimension, by pint, of the quantity that it reads."""
    quantities = {"voltage": "volt", "current": "ampere", "resistance": "ohm", "seconds": "second"}
    for check in knowledge.checks.values():
        if check.reading is not None:
            base = registry.Unit(quantities[check.reading.quantity])
            assert registry.Unit(check.reading.unit).is_compatible_with(base), check.id


def test_heat_of_copper_by_mass_is_that_by_volume(knowledge: Knowledge, registry: Any) -> None:
    """385 J/(kg K) times 8890 kg/m3 agrees with 3.45e6 J/(K m3) within one percent."""
    heat = {
        name: row["value"] * registry(row["unit"].replace("m3", "m^3"))
        for name, row in knowledge.rows("copper").items()
        if name in ("specific-heat", "density")
    }
    product = heat["specific-heat"] * heat["density"]
    assert product.to("J/(K m^3)").magnitude == pytest.approx(3.45e6, rel=0.01)
