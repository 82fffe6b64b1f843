"""Force: published worked examples of a magnet across an air gap."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pint import UnitRegistry
from scipy.constants import mu_0

from engine.calculations import force

ONE_GAP = [
    # turns, A, m2, m, N, tolerance; published worked examples
    (100, 5.0, 0.01, 0.02, 3.93, 0.006),
    (200, 3.0, 0.02, 0.03, 5.03, 0.006),
    (500, 10.0, 0.3, 1.0, 4.712, 6e-4),
]

PLUNGER = [
    # ampere-turns, gap mm, N over 3 cm2; calculated
    (4000.0, 15.0, 13.40, 6e-3),
    (400.0, 0.5, 120.6, 0.06),
    (400.0, 15.0, 0.134, 6e-4),
]

turns = st.floats(1.0, 1e4)
areas = st.floats(1e-5, 1e-1)
gaps = st.floats(1e-4, 0.1)


def test_magnetic_constant() -> None:
    """The rounded magnetic constant agrees with SciPy's CODATA value to one part in 1e9."""
    assert pytest.approx(mu_0, rel=1e-9) == force.MAGNETIC_CONSTANT


@pytest.mark.parametrize(("count", "amperes", "area", "gap", "newton", "tolerance"), ONE_GAP)
def test_one_gap(
    *, count: int, amperes: float, area: float, gap: float, newton: float, tolerance: float
) -> None:
    """The force over one gap of a published worked example comes out."""
    assert force.gap_force(count * amperes, area, gap) == pytest.approx(newton, abs=tolerance)


def test_two_gaps() -> None:
    """300 turns, 20 A, 6 x 6 cm, two gaps of 5 mm give 0.754 T and 1628.7 N.

    P.C. Sen, Principles of Electric Machines and Power Electronics, example 3.4, from memory; the
    book rounds to 0.754 T before it takes the force.
    """
    unit: UnitRegistry[float] = UnitRegistry()
    area = (unit("6 cm") ** 2).to("m^2").magnitude
    gap = unit("5 mm").to("m").magnitude
    assert force.flux_density(6000.0, gap, gaps=2) == pytest.approx(0.754, abs=5e-4)
    assert force.gap_force(6000.0, area, gap, gaps=2) == pytest.approx(1628.7, rel=1e-4)


@pytest.mark.parametrize(("ampere_turns", "gap_mm", "newton", "tolerance"), PLUNGER)
def test_hold_cannot_pull_in(
    ampere_turns: float, gap_mm: float, newton: float, tolerance: float
) -> None:
    """The hold winding beats the pull winding at the bottom, and gives nothing at full gap."""
    found = force.gap_force(ampere_turns, 3e-4, gap_mm * 1e-3)
    assert found == pytest.approx(newton, abs=tolerance)


@pytest.mark.parametrize("cap", [1.6, 1.8, 2.0])
def test_saturation_caps_the_force(cap: float) -> None:
    """At a closing gap the force stops at the cap's B^2 A / (2 mu0), for caps of 1.6 to 2 T."""
    assert force.flux_density(4000.0, 1e-4, saturation=cap) == cap
    found = force.gap_force(4000.0, 3e-4, 1e-4, saturation=cap)
    assert found == pytest.approx(cap**2 * 3e-4 / (2 * mu_0), rel=1e-8)


@given(turns, areas, gaps, gaps)
def test_wider_gap_pulls_less(ampere_turns: float, area: float, one: float, other: float) -> None:
    """A wider gap never pulls harder."""
    near, far = sorted((one, other))
    strong = force.gap_force(ampere_turns, area, near)
    assert strong >= force.gap_force(ampere_turns, area, far) > 0


@given(turns, areas, gaps, st.sampled_from([1, 2]))
def test_force_and_ampere_turns_are_inverse(
    ampere_turns: float, area: float, gap: float, count: int
) -> None:
    """The ampere-turns for the force of some ampere-turns are those, below saturation."""
    newton = force.gap_force(ampere_turns, area, gap, count, saturation=1e6)
    found = force.ampere_turns_for_force(newton, area, gap, count)
    assert found == pytest.approx(ampere_turns, rel=1e-9)


NONSENSE: list[tuple[str, Callable[[float], object]]] = [
    ("ampere_turns", lambda bad: force.gap_force(bad, 3e-4, 1e-3)),
    ("area", lambda bad: force.gap_force(400.0, bad, 1e-3)),
    ("gap", lambda bad: force.gap_force(400.0, 3e-4, bad)),
    ("saturation", lambda bad: force.flux_density(400.0, 1e-3, saturation=bad)),
    ("force", lambda bad: force.ampere_turns_for_force(bad, 3e-4, 1e-3)),
    ("area", lambda bad: force.ampere_turns_for_force(1.0, bad, 1e-3)),
    ("gap", lambda bad: force.ampere_turns_for_force(1.0, 3e-4, bad)),
]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
@pytest.mark.parametrize(("name", "call"), NONSENSE)
def test_figures_that_mean_nothing(name: str, call: Callable[[float], object], bad: float) -> None:
    """A figure that is not a number, infinite or negative is refused by name."""
    with pytest.raises(ValueError, match=rf"{name} must be"):
        call(bad)


def test_no_gap_at_all() -> None:
    """A gap of nothing, and fewer than one gap, are refused: the formula has no meaning there."""
    with pytest.raises(ValueError, match="gap must be above zero"):
        force.gap_force(400.0, 3e-4, 0.0)
    with pytest.raises(ValueError, match="gaps must be 1 or more"):
        force.gap_force(400.0, 3e-4, 1e-3, gaps=0)
    with pytest.raises(ValueError, match="gaps must be 1 or more"):
        force.ampere_turns_for_force(400.0, 3e-4, 1e-3, gaps=0)
