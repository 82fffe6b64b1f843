"""Inductance: worked examples of OpenStax College Physics."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import inductance

DECAYS = [
    # seconds, amperes left of 10.0 A in 7.50 mH and 3.00 ohm; OpenStax College Physics 23.10
    (5.00e-3, 1.35, 0.006),
    (10.0e-3, 0.183, 6e-4),
]

henries = st.floats(1e-4, 10.0)
resistances = st.floats(0.05, 500.0)
currents = st.floats(0.01, 100.0)
times = st.floats(1e-6, 1.0)


def test_time_constant() -> None:
    """7.50 mH and 3.00 ohm have a time constant of 2.50 ms (OpenStax College Physics 23.10)."""
    assert inductance.time_constant(7.50e-3, 3.00) == pytest.approx(2.50e-3)


@pytest.mark.parametrize(("seconds", "left", "tolerance"), DECAYS)
def test_decay(seconds: float, left: float, tolerance: float) -> None:
    """10.0 A decays to what OpenStax College Physics 23.10 prints."""
    found = inductance.decayed_current(10.0, seconds, 7.50e-3, 3.00)
    assert found == pytest.approx(left, abs=tolerance)


def test_flyback() -> None:
    """4.00 A in 7.50 mH cut in 8.33 ms makes 3.60 V (OpenStax College Physics)."""
    assert inductance.flyback_voltage(7.50e-3, 4.00, 8.33e-3) == pytest.approx(3.60, abs=0.005)


def test_inductance_from_flyback() -> None:
    """20.0 A cut in 1.50 ms that makes 800 V is 60.0 mH (OpenStax College Physics)."""
    assert inductance.inductance_from_flyback(800.0, 20.0, 1.50e-3) == pytest.approx(60.0e-3)


@given(henries, resistances, currents, times)
def test_rise_and_decay_share_the_current(
    henry: float, ohms: float, amperes: float, seconds: float
) -> None:
    """What has risen after a time and what has decayed after it add up to the whole current."""
    risen = inductance.risen_current(amperes, seconds, henry, ohms)
    left = inductance.decayed_current(amperes, seconds, henry, ohms)
    assert risen + left == pytest.approx(amperes, rel=1e-12)


@given(henries, currents, times)
def test_flyback_is_inverse(henry: float, amperes: float, seconds: float) -> None:
    """The inductance from the flyback of an inductance is that inductance."""
    volts = inductance.flyback_voltage(henry, amperes, seconds)
    found = inductance.inductance_from_flyback(volts, amperes, seconds)
    assert found == pytest.approx(henry, rel=1e-9)


@given(henries, resistances, currents, times, times)
def test_current_never_grows_back(
    henry: float, ohms: float, amperes: float, one: float, other: float
) -> None:
    """A decaying current never grows, and one time constant leaves 36.8 percent of it."""
    soon, late = sorted((one, other))
    first = inductance.decayed_current(amperes, soon, henry, ohms)
    assert first >= inductance.decayed_current(amperes, late, henry, ohms) >= 0
    tau = inductance.time_constant(henry, ohms)
    left = inductance.decayed_current(amperes, tau, henry, ohms)
    assert left / amperes == pytest.approx(0.36788, abs=1e-5)


NONSENSE: list[tuple[str, Callable[[float], object]]] = [
    ("henry", lambda bad: inductance.time_constant(bad, 1.0)),
    ("ohms", lambda bad: inductance.time_constant(1.0, bad)),
    ("amperes", lambda bad: inductance.decayed_current(bad, 1.0, 1.0, 1.0)),
    ("seconds", lambda bad: inductance.decayed_current(1.0, bad, 1.0, 1.0)),
    ("final_amperes", lambda bad: inductance.risen_current(bad, 1.0, 1.0, 1.0)),
    ("seconds", lambda bad: inductance.risen_current(1.0, bad, 1.0, 1.0)),
    ("henry", lambda bad: inductance.flyback_voltage(bad, 1.0, 1.0)),
    ("amperes", lambda bad: inductance.flyback_voltage(1.0, bad, 1.0)),
    ("seconds", lambda bad: inductance.flyback_voltage(1.0, 1.0, bad)),
    ("volts", lambda bad: inductance.inductance_from_flyback(bad, 1.0, 1.0)),
    ("amperes", lambda bad: inductance.inductance_from_flyback(1.0, bad, 1.0)),
    ("seconds", lambda bad: inductance.inductance_from_flyback(1.0, 1.0, bad)),
]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
@pytest.mark.parametrize(("name", "call"), NONSENSE)
def test_figures_that_mean_nothing(name: str, call: Callable[[float], object], bad: float) -> None:
    """A figure that is not a number, infinite or negative is refused by name."""
    with pytest.raises(ValueError, match=rf"{name} must be"):
        call(bad)
