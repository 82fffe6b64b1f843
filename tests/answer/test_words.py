"""Numbers, bands and chances in words."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.answer import words
from engine.physics.band import Band, number, open_band, readable


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.424, "0.42"), (3.14, "3.1"), (24.3, "24"), (1800.0, "1800"), (0.0, "0"), (0.004, "0"),
     (0.4, "0.4"), (12.0, "12"), (19.97, "20"), (0.999, "1"), (-3.14, "-3.1"), (-0.001, "0"),
     (100.0, "100"), (1e6, "1000000")],
)  # fmt: skip
def test_number(value: float, said: str) -> None:
    """A number is said with the digits that a reading deserves, without trailing zeros."""
    assert number(value) == said


@given(value=st.floats(-1e6, 1e6))
def test_a_number_in_words_is_near_the_number(value: float) -> None:
    """What is said is within five percent, or half a hundredth, of what is meant."""
    assert float(number(value)) == pytest.approx(value, rel=0.05, abs=0.0051)


@pytest.mark.parametrize(
    ("band", "unit", "low", "said"),
    [
        ((0.6, 14.0), "A", 0.0, "0.6 to 14 A"),
        ((24.2, 31.4), "A", 0.0, "24 to 31 A"),
        ((-3.0, 4.0), "A", 0.0, "0 to 4 A"),
        ((-0.2, 0.3), "V", -2.0, "0 to 0.3 V"),
        ((-1.5, 0.3), "V", -2.0, "-1.5 to 0.3 V"),
        ((-0.2, 0.001), "V", -2.0, "0 V"),
        ((11.96, 12.01), "V", -2.0, "12 V"),
        ((-0.4, 0.2), "ohm", 0.0, "0 to 0.2 ohm"),
        ((5e4, 2e7), "ohm", 0.0, "50000 ohm or more"),
        ((-0.1, 1.4), "s", 0.0, "0 to 1.4 s"),
    ],
)  # fmt: skip
def test_band(band: Any, unit: str, low: float, said: str) -> None:
    """A band is said from limit to limit, cut at what the quantity can be."""
    assert readable(*band, unit, low).words == said


def test_a_band_that_cannot_be_judged_by_says_why() -> None:
    """An open band is said as the meter shows it, a doubt stands behind the limits."""
    assert open_band("ohm").words == "over range (open)"
    doubtful = Band(0.24, 0.61, "ohm", doubt="meter")
    assert doubtful.words == "0.24 to 0.61 ohm (too fine for this meter to tell)"


@given(low=st.floats(-50, 1e4), width=st.floats(1e-3, 1e4))
def test_limits_that_are_judged_by_keep_their_digits(low: float, width: float) -> None:
    """A fine band's limits move by at most a twentieth of its width."""
    band = readable(low, low + width, "V", -1e3, fine=True)
    assert band.high is not None
    if low >= 0:
        assert abs(band.low - low) <= max(width / 20, 0.5) + 1e-9
        assert band.low <= band.high


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.5, "50 %"), (0.996, "over 99 %"), (1.0, "over 99 %"), (0.004, "under 1 %"),
     (0.0, "under 1 %"), (0.834, "83 %")],
)  # fmt: skip
def test_percent(chance: float, said: str) -> None:
    """Nothing is called certain or impossible."""
    assert words.percent(chance) == said


@pytest.mark.parametrize(
    ("names", "said"),
    [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")],
)
def test_listed(names: list[str], said: str) -> None:
    """A list is said as in prose."""
    assert words.listed(names) == said


def test_outcomes() -> None:
    """The likeliest answers are said in the caller's words, up to most of the chance."""
    names = ("a", "b", "c")
    outcomes: Any = SimpleNamespace(words={"a": "It clicks", "b": "It does not", "c": "Maybe"})
    first = words.outcome_words(names, np.array([0.9, 0.06, 0.04]), outcomes)
    assert first == "'It clicks' (90 %)"
    second = words.outcome_words(names, np.array([0.3, 0.3, 0.4]), outcomes)
    assert second == "'Maybe' (40 %) or 'It clicks' (30 %)"
