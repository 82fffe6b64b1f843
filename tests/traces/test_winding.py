"""The rising current against the textbook, SciPy and what was put in."""

import numpy as np
import pytest

from engine.traces.winding import Motion, PullWindow, fit, rise

SECONDS = np.linspace(0, 0.3, 1001)
ONES = np.ones_like(SECONDS)
MOTION = Motion(begins=0.02, seats=0.09, power=3.0, ratio=2.5)


def test_a_still_plunger_gives_the_textbook_step_response() -> None:
    """i = u / R (1 - exp(-t R / L)), the step response of R and L in series."""
    assert rise(SECONDS, ONES, 0.012) == pytest.approx(1 - np.exp(-SECONDS / 0.012), abs=1e-12)


def test_what_is_put_in_and_not_burned_is_the_energy_of_the_field() -> None:
    """The integral of u i - R i^2 is L i^2 / 2 at every moment; here u and R are 1, L is tau."""
    amperes = rise(SECONDS, ONES, 0.012)
    put_in = np.trapezoid(amperes - amperes**2, SECONDS)
    assert put_in == pytest.approx(0.012 * amperes[-1] ** 2 / 2, rel=1e-3)


def test_a_moving_plunger_is_integrated_as_scipy_does_it() -> None:
    """d psi/dt = u - psi / lambda(t), by Runge and Kutta with tight limits."""

    def slope(t: float, psi: np.ndarray) -> np.ndarray:
        return 1 - psi / (0.008 * MOTION.grown(np.array([t]))[0])

    from scipy.integrate import solve_ivp  # slow to load

    found = solve_ivp(slope, (0, 0.3), [0.0], t_eval=SECONDS, rtol=1e-9, atol=1e-12, max_step=1e-3)
    lam = 0.008 * MOTION.grown(SECONDS)
    assert rise(SECONDS, ONES, lam) == pytest.approx(found.y[0] / lam, abs=2e-4)


@pytest.fixture(scope="module")
def noise() -> np.ndarray:
    """Give 0.3 A of noise."""
    return np.random.default_rng(3).normal(0, 0.3, len(SECONDS))


def test_a_motion_that_was_put_in_comes_out(noise: np.ndarray) -> None:
    """Amperes, both time constants and the seat come back, within four standard uncertainties."""
    amperes = 30 * rise(SECONDS, ONES, 0.008 * MOTION.grown(SECONDS)) + noise
    found = fit(PullWindow(SECONDS, amperes, ONES))
    assert found.moved is True
    assert found.seats == pytest.approx(0.09, abs=4 * found.seats_u)
    assert found.amperes == pytest.approx(30, abs=4 * found.amperes_u)
    assert found.tau_open == pytest.approx(0.008, rel=0.1)
    assert found.tau_seated == pytest.approx(0.02, rel=0.1)


def test_a_still_plunger_is_told_apart(noise: np.ndarray) -> None:
    """The same noise on a plain rise: it did not move."""
    found = fit(PullWindow(SECONDS, 30 * rise(SECONDS, ONES, 0.01) + noise, ONES))
    assert found.moved is False
    assert found.tau_open == pytest.approx(0.01, rel=0.03)


def test_thirty_times_the_noise_tells_nothing(noise: np.ndarray) -> None:
    """Where a notch would drown nothing is said of the plunger."""
    assert fit(PullWindow(SECONDS, 30 * rise(SECONDS, ONES, 0.01) + 60 * noise, ONES)).moved is None


def test_hum_is_not_taken_for_a_notch() -> None:
    """Two amperes of 50 Hz on a still plunger are fitted as what they are."""
    amperes = 30 * rise(SECONDS, ONES, 0.01) + 2 * np.sin(2 * np.pi * 50 * SECONDS + 1)
    noise = np.random.default_rng(4).normal(0, 0.1, len(SECONDS))
    assert fit(PullWindow(SECONDS, amperes + noise, ONES, hum=50.0)).moved is False
