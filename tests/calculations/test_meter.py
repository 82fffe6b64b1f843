"""Meters: accuracy statements, uncertainty and verdicts against published examples."""

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import meter

HALF_WIDTHS = [
    # reading, percent, counts, resolution, half-width, source
    (120.0, 1.0, 3, 0.1, 1.5, "meter maker's worked example"),
    (100.0, 1.0, 2, 0.1, 1.2, "meter maker's worked example: 98.8 to 101.2 V"),
    (5.0, 0.05, 2, 0.01, 0.0225, "meter maker's worked example"),
    (50.0, 0.05, 2, 0.01, 0.045, "meter maker's worked example"),
    (500.0, 0.05, 2, 0.01, 0.27, "meter maker's worked example"),
    (0.4, 0.5, 2, 0.1, 0.202, "calculated"),
]

UNCERTAINTIES = [
    # half-width, standard uncertainty, tolerance, source
    (0.40e-6, 0.23e-6, 0.005e-6, "JCGM 100:2008 4.3.7 example"),
    (15e-6, 8.7e-6, 0.05e-6, "JCGM 100:2008 4.3.7 example"),
    (0.202, 0.1166, 5e-5, "calculated"),
]

CONFORMANCE = [
    # value, u, lower, upper, probability, source
    (-5.47, 0.05, None, -5.40, 0.9192, "JCGM 106:2012 section 7.3, from memory"),
    (509.7, 8.6, 490.0, None, 0.9890, "JCGM 106:2012 section 7.3, from memory"),
]

PULL_WINDING = (0.25, 0.36)  # 0.3 ohm, about -15 to +20 %: judgement

VERDICTS = [
    # value, u, lower, upper, verdict
    (0.4, 0.1166, *PULL_WINDING, "cannot-say"),
    (0.3, 0.00497, *PULL_WINDING, "good"),
    (0.6, 0.05, *PULL_WINDING, "bad"),
    (0.1, 0.02, *PULL_WINDING, "bad"),
    (0.25, 0.005, *PULL_WINDING, "cannot-say"),
    (-5.47, 0.05, None, -5.40, "cannot-say"),
    (509.7, 8.6, 490.0, None, "good"),
    (470.0, 8.6, 490.0, None, "bad"),
]

values = st.floats(-1e3, 1e3)
spreads = st.floats(1e-3, 1e2)


@pytest.mark.parametrize(
    ("reading", "percent", "counts", "resolution", "expected", "source"), HALF_WIDTHS
)
def test_half_width(
    *, reading: float, percent: float, counts: int, resolution: float, expected: float, source: str
) -> None:
    """A statement of percent and counts gives the half-width its maker prints."""
    found = meter.half_width(reading, percent, counts, resolution)
    assert found == pytest.approx(expected, rel=1e-9), source


def test_half_width_of_reading_and_range() -> None:
    """14e-6 of reading and 2e-6 of a 1 V range at 0.928571 V is 15 uV (JCGM 100:2008 4.3.7)."""
    range_volts = 1.0
    half = meter.half_width(0.928571, 14e-4, 1, 2e-6 * range_volts)
    assert half == pytest.approx(15e-6, abs=0.05e-6)


@pytest.mark.parametrize(("half", "expected", "tolerance", "source"), UNCERTAINTIES)
def test_standard_uncertainty(half: float, expected: float, tolerance: float, source: str) -> None:
    """Bounds of half-width a have the standard uncertainty a over root three."""
    assert meter.standard_uncertainty(half) == pytest.approx(expected, abs=tolerance), source


@pytest.mark.parametrize(("value", "u", "lower", "upper", "expected", "source"), CONFORMANCE)
def test_conformance(
    *,
    value: float,
    u: float,
    lower: float | None,
    upper: float | None,
    expected: float,
    source: str,
) -> None:
    """The conformance probability of a one-sided worked example comes out."""
    found = meter.conformance_probability(value, u, lower, upper)
    assert found == pytest.approx(expected, abs=1.1e-4), source


@pytest.mark.parametrize(("value", "u", "lower", "upper", "expected"), VERDICTS)
def test_verdict(
    value: float, u: float, lower: float | None, upper: float | None, expected: str
) -> None:
    """A reading whose uncertainty covers both verdicts is 'cannot-say', others are decided."""
    assert meter.verdict(value, u, lower, upper) == expected


@given(values, spreads, values, st.floats(0.0, 1e3))
def test_conformance_is_the_mass_of_a_normal(
    value: float, u: float, lower: float, width: float
) -> None:
    """Conformance for two limits is the mass of a normal between them, within 0 to 1."""
    found = meter.conformance_probability(value, u, lower, lower + width)
    normal = NormalDist(value, u)
    expected = normal.cdf(lower + width) - normal.cdf(lower)
    assert found == pytest.approx(expected, abs=1e-12)
    assert 0.0 <= found <= 1.0


@given(values, spreads, values)
def test_one_limit_splits_certainty(value: float, u: float, limit: float) -> None:
    """Being below a limit and being above it share the whole of the probability."""
    below = meter.conformance_probability(value, u, upper=limit)
    over = meter.conformance_probability(value, u, lower=limit)
    assert below + over == pytest.approx(1.0, abs=1e-12)


@given(st.floats(-1e6, 1e6), st.floats(0, 10), st.integers(0, 20), st.floats(1e-6, 10))
def test_half_width_never_shrinks_with_counts(
    reading: float, percent: float, counts: int, resolution: float
) -> None:
    """More counts never make a reading better, and the sign of a reading does not matter."""
    half = meter.half_width(reading, percent, counts, resolution)
    assert half <= meter.half_width(reading, percent, counts + 1, resolution)
    assert half == meter.half_width(-reading, percent, counts, resolution)
    assert math.isfinite(meter.standard_uncertainty(half))


def test_readings_as_an_array() -> None:
    """Half-widths and probabilities are taken for a whole array of readings at once."""
    readings = np.array([5.0, 50.0, 500.0])
    half = meter.half_width(readings, 0.05, 2, 0.01)
    assert half == pytest.approx([0.0225, 0.045, 0.27])
    chances = meter.conformance_probability(readings, 10.0, upper=50.0)
    assert chances == pytest.approx([NormalDist(one, 10.0).cdf(50.0) for one in readings])
