"""Wires: sizes, ohms and drops against wire tables and printed examples."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pint import UnitRegistry

from engine.calculations import conductor, copper

Table = Callable[[str], list[dict[str, Any]]]

UNIT: UnitRegistry[float] = UnitRegistry()

AWG = [
    # AWG, mm2 (ASTM B258, from memory), mohm/m at 20 C (calculated),
    # ohm per 1000 ft at 20 C (printed wire table; 10 and 8 calculated),
    # the same at 75 C (NEC chapter 9 table 8, solid; 18 and 16 from memory)
    (20, 0.5176, 33.31, 10.15, None),
    (18, 0.8230, 20.95, 6.385, 7.77),
    (16, 1.309, 13.17, 4.016, 4.89),
    (14, 2.081, 8.285, 2.525, 3.07),
    (12, 3.309, 5.211, 1.588, 1.93),
    (10, 5.261, 3.277, 0.9988, 1.21),
    (8, 8.366, 2.061, 0.6282, 0.764),
]

METRIC = [
    # mm2, ohm/km at 20 C: IEC 60228 class 5, IEC 60228 class 1/2, ISO 6722-1 (from memory)
    (0.5, 39.0, 36.0, 37.1),
    (0.75, 26.0, 24.5, 24.7),
    (1, 19.5, 18.1, 18.5),
    (1.5, 13.3, 12.1, 12.7),
    (2.5, 7.98, 7.41, 7.60),
    (4, 4.95, 4.61, 4.71),
    (6, 3.30, 3.08, 3.14),
    (10, 1.91, 1.83, 1.82),
]

MARINE = [
    # share of 12 V lost, circular mils, AWG; printed example of ABYC E-11: 10 A, 11 + 10 ft
    (0.03, 6271, 10),
    (0.10, 1881, 16),
]

FEED_DROPS = [
    # celsius, volts over 5 m of 2.5 mm2 at 7.60 ohm/km and 40 A; calculated
    (20.0, 1.520),
    (80.0, 1.878),
]

amperes = st.floats(0.01, 200.0)
lengths = st.floats(0.01, 100.0)
temperatures = st.floats(-40.0, 150.0)
drops = st.floats(0.01, 10.0)


@pytest.mark.parametrize(("gauge", "mm2", "mohm", "per_1000_ft", "hot"), AWG)
def test_awg_against_wire_tables(
    gauge: int, mm2: float, mohm: float, per_1000_ft: float, hot: float | None
) -> None:
    """Area and ohms of solid copper by gauge come out as in the printed wire tables."""
    area = conductor.awg_area(gauge)
    assert area * 1e6 == pytest.approx(mm2, rel=3e-4)
    assert conductor.ohms_per_metre(area) * 1e3 == pytest.approx(mohm, rel=4e-4)
    thousand_feet = UNIT("1000 ft").to("m").magnitude
    assert thousand_feet * conductor.ohms_per_metre(area) == pytest.approx(per_1000_ft, rel=5e-4)
    if hot is not None:
        found = thousand_feet * conductor.ohms_per_metre(area, 75.0)
        assert found == pytest.approx(hot, rel=4e-3)


@pytest.mark.parametrize(("gauge", "mm2", "mohm", "per_1000_ft", "hot"), AWG)
def test_awg_table(
    table: Table, *, gauge: int, mm2: float, mohm: float, per_1000_ft: float, hot: float | None
) -> None:
    """The knowledge base holds the printed figures of each gauge."""
    row = next(row for row in table("conductors-awg") if row["awg"] == gauge)
    assert (row["mm2"], row["ohm_per_km"], row["ohm_per_1000_ft"]) == (mm2, mohm, per_1000_ft)
    assert row.get("ohm_per_1000_ft_75_celsius") == hot


def test_awg_diameter_of_the_two_ends() -> None:
    """36 AWG is 0.0050 in and 4/0 is 0.4600 in: the two sizes that define ASTM B258."""
    inch = UNIT("1 inch").to("m").magnitude
    assert conductor.awg_diameter(36) == pytest.approx(0.0050 * inch, rel=1e-9)
    assert conductor.awg_diameter(-3) == pytest.approx(0.4600 * inch, rel=1e-9)


@pytest.mark.parametrize(("mm2", "class_5", "class_2", "vehicle"), METRIC)
def test_metric_table(
    table: Table, mm2: float, class_5: float, class_2: float, vehicle: float
) -> None:
    """The knowledge base holds the standards' ohms, none below those of solid pure copper."""
    row = next(row for row in table("conductors-metric") if row["mm2"] == mm2)
    found = (row["class_5_ohm_per_km"], row["class_2_ohm_per_km"], row["vehicle_ohm_per_km"])
    assert found == (class_5, class_2, vehicle)
    assert min(found) > conductor.ohms_per_metre(mm2 * 1e-6) * 1e3


@pytest.mark.parametrize(("share", "mils", "gauge"), MARINE)
def test_marine_sizing(share: float, mils: int, gauge: int, table: Table) -> None:
    """The printed ABYC E-11 example of 10 A over 21 ft chooses its gauge among SAE wires."""
    needed = conductor.circular_mils(10.0, 21.0, share * 12.0)
    assert needed == pytest.approx(mils, abs=0.5)
    row = conductor.smallest_size(table("conductors-awg"), "sae_circular_mils", at_least=needed)
    assert row is not None
    assert row["awg"] == gauge


def test_mil_foot_constant_is_warm_copper() -> None:
    """K of 10.75 ohm circular-mil per foot is copper at about 30 C, in other units."""
    rho = (conductor.MIL_FOOT_COPPER * UNIT("ohm circular_mil / ft")).to("ohm m").magnitude
    celsius = copper.temperature_from_resistance(rho, copper.RESISTIVITY_20, 20.0)
    assert 25.0 < celsius < 35.0


def test_sae_wire_is_thinner_than_solid_awg(table: Table) -> None:
    """SAE wire has 84 to 99 percent of the circular mils of the solid wire of its gauge."""
    for row in table("conductors-awg"):
        if "sae_circular_mils" in row:
            solid = (conductor.awg_area(row["awg"]) * UNIT("m^2")).to("circular_mil").magnitude
            assert 0.84 < row["sae_circular_mils"] / solid < 0.99


def test_area_for_drop(table: Table) -> None:
    """8.3 A over 1.8 m at 0.5 V needs 0.54 mm2; sizes from 1 mm2 up give 1 (printed example)."""
    area = conductor.area_for_drop(8.3, 1.8, 0.5, resistivity=1.8e-8)
    assert area * 1e6 == pytest.approx(0.5378, abs=5e-5)
    stocked = [row for row in table("conductors-metric") if row["mm2"] >= 1]
    row = conductor.smallest_size(stocked, "mm2", at_least=area * 1e6)
    assert row is not None
    assert row["mm2"] == 1


@pytest.mark.parametrize(("celsius", "volts"), FEED_DROPS)
def test_feed_drop(celsius: float, volts: float) -> None:
    """A pull feed loses the calculated volts, more when the wire is hot."""
    found = conductor.feed_drop(40.0, 5.0, 7.60e-3, celsius)
    assert found == pytest.approx(volts, abs=6e-4)


def test_smallest_size_by_resistance(table: Table) -> None:
    """40 A over 5 m within 1 V at 20 C asks for at most 5 ohm/km: 4 mm2 vehicle cable."""
    most = conductor.highest_ohms_per_metre(40.0, 5.0, 1.0)
    assert most == pytest.approx(5e-3)
    rows = table("conductors-metric")
    row = conductor.smallest_size(rows, "vehicle_ohm_per_km", at_most=most * 1e3)
    assert row is not None
    assert row["mm2"] == 4
    assert conductor.smallest_size(rows, "vehicle_ohm_per_km", at_most=1.0) is None


@given(amperes, lengths, drops, temperatures)
def test_drop_and_its_inverse(current: float, metres: float, volts: float, celsius: float) -> None:
    """A wire of just the allowed ohms per metre loses just the allowed volts."""
    allowed = conductor.highest_ohms_per_metre(current, metres, volts, celsius)
    drop = conductor.feed_drop(current, metres, allowed, celsius)
    assert drop == pytest.approx(volts, rel=1e-9)


@given(amperes, lengths, drops)
def test_area_and_its_inverse(current: float, metres: float, volts: float) -> None:
    """Copper of the area for a drop loses that drop at 20 C."""
    area = conductor.area_for_drop(current, metres, volts)
    drop = conductor.feed_drop(current, metres, conductor.ohms_per_metre(area))
    assert drop == pytest.approx(volts, rel=1e-9)


@given(amperes, st.floats(0.1, 300.0), drops)
def test_marine_method_is_ohms_law(current: float, feet: float, volts: float) -> None:
    """K I L / E in circular mils and feet is rho I L / U in metres (pint's units)."""
    rho = (conductor.MIL_FOOT_COPPER * UNIT("ohm circular_mil / ft")).to("ohm m").magnitude
    metres = (feet * UNIT("ft")).to("m").magnitude
    area = (conductor.area_for_drop(current, metres, volts, rho) * UNIT("m^2")).to("circular_mil")
    assert conductor.circular_mils(current, feet, volts) == pytest.approx(area.magnitude, rel=1e-9)


@given(st.integers(-3, 55))
def test_thinner_by_gauge(gauge: int) -> None:
    """Each higher gauge is thinner, and 39 steps are a factor of 92 in diameter."""
    assert conductor.awg_diameter(gauge + 1) < conductor.awg_diameter(gauge)


@given(amperes, lengths, st.floats(1e-4, 1.0), temperatures, temperatures)
def test_hotter_feed_loses_more(
    current: float, metres: float, per_metre: float, one: float, other: float
) -> None:
    """A hotter feed never loses fewer volts."""
    cold, hot = sorted((one, other))
    lost = conductor.feed_drop(current, metres, per_metre, cold)
    assert lost <= conductor.feed_drop(current, metres, per_metre, hot)


NONSENSE: list[tuple[str, Callable[[float], object]]] = [
    ("gauge", conductor.awg_diameter),
    ("diameter", conductor.round_area),
    ("area", conductor.ohms_per_metre),
    ("celsius", lambda bad: conductor.ohms_per_metre(1e-6, bad)),
    ("metres", lambda bad: conductor.feed_ohms(bad, 0.01)),
    ("ohms_per_metre_at_20", lambda bad: conductor.feed_ohms(1.0, bad)),
    ("amperes", lambda bad: conductor.feed_drop(bad, 1.0, 0.01)),
    ("amperes", lambda bad: conductor.area_for_drop(bad, 1.0, 1.0)),
    ("metres", lambda bad: conductor.area_for_drop(1.0, bad, 1.0)),
    ("drop_volts", lambda bad: conductor.area_for_drop(1.0, 1.0, bad)),
    ("resistivity", lambda bad: conductor.area_for_drop(1.0, 1.0, 1.0, bad)),
    ("amperes", lambda bad: conductor.circular_mils(bad, 1.0, 1.0)),
    ("feet", lambda bad: conductor.circular_mils(1.0, bad, 1.0)),
    ("drop_volts", lambda bad: conductor.circular_mils(1.0, 1.0, bad)),
    ("mil_foot", lambda bad: conductor.circular_mils(1.0, 1.0, 1.0, bad)),
    ("amperes", lambda bad: conductor.highest_ohms_per_metre(bad, 1.0, 1.0)),
    ("metres", lambda bad: conductor.highest_ohms_per_metre(1.0, bad, 1.0)),
    ("drop_volts", lambda bad: conductor.highest_ohms_per_metre(1.0, 1.0, bad)),
]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -400.0])
@pytest.mark.parametrize(("name", "call"), NONSENSE)
def test_figures_that_mean_nothing(name: str, call: Callable[[float], object], bad: float) -> None:
    """A figure that is not a number, infinite or far below zero is refused by name."""
    with pytest.raises(ValueError, match=rf"{name} must "):
        call(bad)


def test_selection_without_a_limit(table: Table) -> None:
    """Choosing a size needs a limit, and a limit that is a number."""
    rows = table("conductors-awg")
    with pytest.raises(ValueError, match="at_least or at_most must be given"):
        conductor.smallest_size(rows, "mm2")
    with pytest.raises(ValueError, match="at_most must be a finite number"):
        conductor.smallest_size(rows, "ohm_per_km", at_most=float("nan"))
