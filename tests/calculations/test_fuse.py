"""Blade fuses: the standard's windows, the words, and the smooth model against the windows."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import fuse

Table = Callable[[str], list[dict[str, Any]]]

LISTED = [
    # percent, not before s, within s, source: ISO 8820-3:2015, read or from memory as marked
    (110, 360_000, None, "from memory; makers print 100 %"),
    (135, 0.75, 600, "read for 35/40 A, from memory for 25/30 A"),
    (160, 0.25, 50, "read for 10 A"),
    (200, 0.15, 5, "read"),
    (350, 0.08, 0.5, "read for 40 A, from memory for 25/30 A"),
]

CASES = [
    # volts, ohm, rating A, percent, earliest s, latest s, words; arithmetic on ISO 8820-3:2015
    (12.6, 0.36, 30.0, 116.7, 0.75, None, "cannot say"),
    (12.6, 0.36, 25.0, 140.0, 0.25, 600.0, "opens"),
    (25.2, 0.36, 30.0, 233.3, 0.08, 5.0, "opens"),
    (12.6, 0.46, 30.0, 91.3, 360_000.0, None, "never opens"),
]

ratios = st.floats(0.0, 12.0)
times = st.floats(0.0, 1e6)


@pytest.mark.parametrize(("percent", "earliest", "latest", "source"), LISTED)
def test_table_holds_the_standard(
    percent: float, earliest: float, latest: float | None, source: str, table: Table
) -> None:
    """The knowledge base and the engine's own copy hold the windows of ISO 8820-3:2015."""
    for rows in (table("blade-fuses"), fuse.ISO_8820_3):
        found = {row["percent"]: (row["earliest_seconds"], row["latest_seconds"]) for row in rows}
        assert found[percent] == (earliest, latest), source
        assert len(rows) == len(LISTED)


@pytest.mark.parametrize(("percent", "earliest", "latest", "source"), LISTED)
@pytest.mark.parametrize("rating", [3.0, 10.0, 25.0, 30.0])
def test_window_at_listed_point(
    *,
    percent: float,
    earliest: float,
    latest: float | None,
    source: str,
    rating: float,
    table: Table,
) -> None:
    """At a listed percentage the window is the row's, whatever rounding the rating brings."""
    found = fuse.opening_window(rating * percent / 100, rating, table("blade-fuses"))
    assert found == (earliest, latest), source


@pytest.mark.parametrize(
    ("volts", "ohms", "rating", "percent", "earliest", "latest", "words"), CASES
)
def test_windows_between_points(
    *,
    volts: float,
    ohms: float,
    rating: float,
    percent: float,
    earliest: float,
    latest: float | None,
    words: str,
    table: Table,
) -> None:
    """Between points the latest time is the lower row's and the earliest the higher row's."""
    amperes, rows = volts / ohms, table("blade-fuses")
    assert fuse.percent_of_rating(amperes, rating) == pytest.approx(percent, abs=0.05)
    assert fuse.opening_window(amperes, rating, rows) == (earliest, latest)
    assert fuse.opening_words(amperes, rating, rows) == words


@pytest.mark.parametrize("rating", [3.0, 10.0, 25.0, 30.0])
def test_words_at_listed_points(rating: float) -> None:
    """Right at 110 % a fuse never opens, just above it cannot be said, right at 135 % it opens."""
    assert fuse.opening_words(rating * 1.10, rating) == "never opens"
    assert fuse.opening_words(rating * 1.1001, rating) == "cannot say"
    assert fuse.opening_words(rating * 1.3499, rating) == "cannot say"
    assert fuse.opening_words(rating * 1.35, rating) == "opens"


def test_above_the_highest_row() -> None:
    """Above 350 % only the latest time of the last row is known."""
    assert fuse.opening_window(200.0, 30.0) == (0.0, 0.5)


@pytest.mark.parametrize(("percent", "earliest", "latest", "source"), LISTED[1:])
def test_model_keeps_the_windows(
    percent: float, earliest: float, latest: float, source: str
) -> None:
    """At a listed point the model is 0.1 % before the window, half mid-way, 99.9 % after it."""
    ratio = percent / 100
    chance = fuse.opening_probability
    assert chance(ratio, earliest) == pytest.approx(0.00135, abs=1e-5), source
    assert chance(ratio, (earliest * latest) ** 0.5) == pytest.approx(0.5, abs=1e-9), source
    assert chance(ratio, latest) == pytest.approx(0.99865, abs=1e-5), source


@pytest.mark.parametrize("ratio", [0.0, 0.75, 0.913, 1.0, 1.1])
@pytest.mark.parametrize("seconds", [5.0, 600.0, 360_000.0])
def test_model_never_opens_at_or_below_110_percent(ratio: float, seconds: float) -> None:
    """A pull stuck on at 91 % of the fuse's rating never opens it, so it is not protected."""
    assert fuse.opening_probability(ratio, seconds) == 0.0


def test_model_just_above_110_percent_is_slow() -> None:
    """Just above 110 % hardly any fuse has opened after ten minutes: no jump at the lowest row."""
    assert fuse.opening_probability(1.101, 600.0) < 1e-6
    assert fuse.opening_probability(1.15, 5.0) < 1e-6


def test_a_dead_short_opens_at_once() -> None:
    """A dead short of ten times the rating opens the fuse within the standard's half second."""
    assert fuse.opening_probability(10.0, 0.5) > 0.999


def test_melting_energy_is_constant_beyond_the_table() -> None:
    """Beyond 350 %, twice the current opens at even chance in a quarter of the time."""
    middle = (0.08 * 0.5) ** 0.5
    assert fuse.opening_probability(7.0, middle / 4) == pytest.approx(0.5, abs=1e-9)


@given(st.lists(ratios, min_size=1, max_size=12), times)
def test_model_rises_with_current(loads: list[float], seconds: float) -> None:
    """More current never makes a fuse less likely to have opened, and the answer is a chance."""
    chance = fuse.opening_probability(np.sort(np.array(loads)), seconds)
    assert ((chance >= 0) & (chance <= 1)).all()
    assert (np.diff(chance) >= -1e-6).all()


@given(ratios, times, times)
def test_model_rises_with_time(ratio: float, one: float, other: float) -> None:
    """A fuse that has opened stays open: the chance never falls with time."""
    first, later = sorted((one, other))
    chance = fuse.opening_probability
    assert chance(ratio, first) <= chance(ratio, later)


@given(st.floats(0.0, 300.0), st.floats(1.0, 60.0))
def test_windows_never_cross(amperes: float, rating: float) -> None:
    """The earliest time is never later than the latest, and more current never opens later."""
    window = fuse.opening_window(amperes, rating)
    more = fuse.opening_window(amperes * 1.1, rating)
    assert window.latest is None or window.earliest <= window.latest
    assert more.earliest <= window.earliest
    assert window.latest is None or (more.latest is not None and more.latest <= window.latest)
