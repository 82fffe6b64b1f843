"""Wires: sizes, ohms and drops against wire tables and printed examples."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import copper

Table = Callable[[str], list[dict[str, Any]]]

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

amperes = st.floats(0.01, 200.0)
lengths = st.floats(0.01, 100.0)
temperatures = st.floats(-40.0, 150.0)
drops = st.floats(0.01, 10.0)


@pytest.mark.parametrize(("gauge", "mm2", "mohm", "per_1000_ft", "hot"), AWG)
def test_awg_table(
    table: Table, *, gauge: int, mm2: float, mohm: float, per_1000_ft: float, hot: float | None
) -> None:
    """The knowledge base holds the printed figures of each gauge."""
    row = next(row for row in table("conductors-awg") if row["awg"] == gauge)
    assert (row["mm2"], row["ohm_per_km"], row["ohm_per_1000_ft"]) == (mm2, mohm, per_1000_ft)
    assert row.get("ohm_per_1000_ft_75_celsius") == hot


@pytest.mark.parametrize(("mm2", "class_5", "class_2", "vehicle"), METRIC)
def test_metric_table(
    table: Table, mm2: float, class_5: float, class_2: float, vehicle: float
) -> None:
    """The knowledge base holds the standards' ohms, none below those of solid pure copper."""
    row = next(row for row in table("conductors-metric") if row["mm2"] == mm2)
    found = (row["class_5_ohm_per_km"], row["class_2_ohm_per_km"], row["vehicle_ohm_per_km"])
    assert found == (class_5, class_2, vehicle)
    assert min(found) > copper.ohms_per_metre(mm2 * 1e-6) * 1e3


@given(amperes, lengths, drops, temperatures)
def test_drop_and_its_inverse(current: float, metres: float, volts: float, celsius: float) -> None:
    """A wire of just the allowed ohms per metre loses just the allowed volts."""
    allowed = copper.highest_ohms_per_metre(current, metres, volts, celsius)
    drop = copper.feed_drop(current, metres, allowed, celsius)
    assert drop == pytest.approx(volts, rel=1e-9)


@given(amperes, lengths, st.floats(1e-4, 1.0), temperatures, temperatures)
def test_hotter_feed_loses_more(
    current: float, metres: float, per_metre: float, one: float, other: float
) -> None:
    """A hotter feed never loses fewer volts."""
    cold, hot = sorted((one, other))
    lost = copper.feed_drop(current, metres, per_metre, cold)
    assert lost <= copper.feed_drop(current, metres, per_metre, hot)
