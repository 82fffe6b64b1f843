"""Battery: charge from rest voltage by the BCI table, internal resistance from the sag."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import battery

Table = Callable[[str], list[dict[str, Any]]]

BCI = [
    # volts open circuit at 26.7 C, charge; BCI table
    (12.65, 1.0),
    (12.45, 0.75),
    (12.24, 0.50),
    (12.06, 0.25),
    (11.89, 0.0),
]

BETWEEN = [
    # volts, batteries in series, charge; straight lines between the BCI rows, calculated
    (12.35, 1, 0.631),
    (12.00, 1, 0.162),
    (25.0, 2, 0.813),
]


@pytest.mark.parametrize(("volts", "charge"), BCI)
def test_bci_points(volts: float, charge: float, table: Table) -> None:
    """At the listed voltages the charge is the BCI table's, and the table holds no more."""
    rows = table("battery-state")
    assert {row["volts"]: row["charge"] for row in rows} == dict(BCI)
    assert battery.state_of_charge(volts, rows) == pytest.approx(charge, abs=1e-12)
    assert battery.pair_state_of_charge(2 * volts, rows) == pytest.approx(charge, abs=1e-12)


@pytest.mark.parametrize(("volts", "in_series", "charge"), BETWEEN)
def test_between_points(volts: float, in_series: int, charge: float, table: Table) -> None:
    """Between the listed voltages the charge lies on a straight line."""
    found = battery.state_of_charge(volts, table("battery-state"), in_series)
    assert found == pytest.approx(charge, abs=6e-4)


@pytest.mark.parametrize(("volts", "charge"), [(10.0, 0.0), (11.5, 0.0), (13.2, 1.0), (14.4, 1.0)])
def test_outside_the_table(volts: float, charge: float, table: Table) -> None:
    """Outside the table a battery is empty or full, never less or more."""
    assert battery.state_of_charge(volts, table("battery-state")) == charge


def test_internal_resistance() -> None:
    """12.60 V open and 11.70 V at 40 A is 22.5 milliohm (calculated)."""
    assert battery.internal_resistance(12.60, 11.70, 40.0) == pytest.approx(0.0225, abs=1e-9)


@given(st.floats(0.5, 30.0), st.floats(0.5, 30.0))
def test_more_volts_more_charge(one: float, other: float) -> None:
    """A higher rest voltage never means less charge, and charge stays within 0 and 1."""
    rows = [{"volts": volts, "charge": charge} for volts, charge in BCI]
    low, high = (battery.state_of_charge(volts, rows) for volts in sorted((one, other)))
    assert 0.0 <= low <= high <= 1.0


@given(st.floats(6.0, 30.0), st.floats(0.001, 0.1), st.floats(1.0, 50.0))
def test_sag_and_back(open_volts: float, ohms: float, amperes: float) -> None:
    """The internal resistance found from a sag is the one that made it."""
    sagged = battery.loaded_volts(open_volts, ohms, amperes)
    assert battery.internal_resistance(open_volts, sagged, amperes) == pytest.approx(ohms, rel=1e-6)


NONSENSE: list[tuple[str, Callable[[float], object]]] = [
    ("volts", lambda bad: battery.state_of_charge(bad, [{"volts": 1, "charge": 0}] * 2)),
    ("open_volts", lambda bad: battery.internal_resistance(bad, 1.0, 1.0)),
    ("loaded_volts", lambda bad: battery.internal_resistance(12.0, bad, 1.0)),
    ("amperes", lambda bad: battery.internal_resistance(12.0, 11.0, bad)),
    ("open_volts", lambda bad: battery.loaded_volts(bad, 0.01, 1.0)),
    ("ohms", lambda bad: battery.loaded_volts(12.0, bad, 1.0)),
    ("amperes", lambda bad: battery.loaded_volts(12.0, 0.01, bad)),
]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
@pytest.mark.parametrize(("name", "call"), NONSENSE)
def test_figures_that_mean_nothing(name: str, call: Callable[[float], object], bad: float) -> None:
    """A figure that is not a number, infinite or negative is refused by name."""
    with pytest.raises(ValueError, match=rf"{name} must be"):
        call(bad)


def test_readings_that_contradict(table: Table) -> None:
    """More volts under load than open, no battery, no table or too much current are refused."""
    rows = table("battery-state")
    with pytest.raises(ValueError, match="loaded_volts must be at most open_volts"):
        battery.internal_resistance(12.0, 12.1, 10.0)
    with pytest.raises(ValueError, match="in_series must be 1 or more"):
        battery.state_of_charge(12.0, rows, 0)
    with pytest.raises(ValueError, match="rows must hold at least two"):
        battery.state_of_charge(12.0, rows[:1])
    with pytest.raises(ValueError, match="amperes must be at most the short-circuit"):
        battery.loaded_volts(12.0, 0.1, 200.0)


def test_against_numpy_on_unsorted_rows(table: Table) -> None:
    """The order of the rows does not matter: NumPy's interpolation of sorted rows agrees."""
    rows = list(reversed(table("battery-state")))
    expected = np.interp(12.3, [11.89, 12.06, 12.24, 12.45, 12.65], [0, 0.25, 0.5, 0.75, 1])
    assert battery.state_of_charge(12.3, rows) == pytest.approx(expected)
