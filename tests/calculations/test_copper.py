"""Copper: resistance and temperature against published figures."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import copper

Table = Callable[[str], list[dict[str, Any]]]

CONSTANTS = [
    # row in kb/tables/copper.yaml, the engine's figure, published value, source
    ("resistivity-20", copper.RESISTIVITY_20, 1.7241e-8, "IEC 60028:1925"),
    ("zero-resistance", copper.ZERO_RESISTANCE, 234.5, "NBS Handbook 100"),
    ("density", copper.DENSITY, 8890.0, "IEC 60028, from memory"),
    ("volumetric-heat", copper.VOLUMETRIC_HEAT, 3.45e6, "IEC 60949, from memory"),
]


OHMS_AT = [
    # ohm, at C, to C, ohm there; arithmetic redone from IEC 60034-1 8.6.2 with k = 234.5
    (0.300, 20.0, -40.0, 0.2293),
    (0.300, 20.0, -20.0, 0.2528),
    (0.300, 20.0, 80.0, 0.3707),
    (0.300, 20.0, 100.0, 0.3943),
    (0.300, 20.0, 120.0, 0.4179),
    (0.15, 25.0, 110.0, 0.1991),
]

temperatures = st.floats(-60.0, 250.0)
resistances = st.floats(1e-4, 1e5)


@pytest.mark.parametrize(("row", "ours", "published", "source"), CONSTANTS)
def test_constants(row: str, ours: float, published: float, source: str, table: Table) -> None:
    """The engine and the knowledge base hold the same published constants of copper."""
    assert ours == published, source
    assert {r["id"]: r["value"] for r in table("copper")}[row] == published


@pytest.mark.parametrize(("ohms", "at", "to", "expected"), OHMS_AT)
def test_resistance_at_temperature(ohms: float, at: float, to: float, expected: float) -> None:
    """Copper of known ohms at one temperature has the calculated ohms at another."""
    assert copper.resistance_at(ohms, at, to) == pytest.approx(expected, abs=5.1e-5)


def test_relay_coil_hot(table: Table) -> None:
    """A 90 ohm relay coil at 23 C has 111.7 ohm at 85 C and pulls in at 8.93 V instead of 7.2 V."""
    rows = {row["id"]: row for row in table("relay-typical")}
    coil, operate = rows["coil-resistance"], rows["operate-voltage"]
    hot = copper.resistance_at(coil["value"], coil["celsius"], 85.0)
    assert hot == pytest.approx(111.7, abs=0.05)
    assert operate["value"] * hot / coil["value"] == pytest.approx(8.93, abs=0.006)


@given(resistances, temperatures, temperatures)
def test_there_and_back(ohms: float, one: float, other: float) -> None:
    """Taking ohms to another temperature and back gives the first ohms."""
    there = copper.resistance_at(ohms, one, other)
    assert copper.resistance_at(there, other, one) == pytest.approx(ohms, rel=1e-12)


@given(st.lists(temperatures, min_size=2, max_size=8, unique=True))
def test_hotter_copper_has_more_ohms(celsius: list[float]) -> None:
    """Resistance never falls as temperature rises, for arrays as for numbers."""
    ordered = np.sort(np.array(celsius))
    ohms = copper.resistance_at(np.full(len(ordered), 0.3), np.full(len(ordered), 20.0), ordered)
    assert (np.diff(ohms) >= 0).all()
    assert ohms[0] == copper.resistance_at(0.3, 20.0, float(ordered[0]))
