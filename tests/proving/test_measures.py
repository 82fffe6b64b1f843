"""Scores against published and hand-calculated values."""

import numpy as np
import pytest

from tests.proving import measures


@pytest.mark.parametrize(
    ("truth", "brier", "loss"), [("a", 0.26, 0.5108256), ("b", 0.86, 1.2039728)]
)
def test_three_causes(truth: str, brier: float, loss: float) -> None:
    """Chances .6 .3 .1 score .26 and .5108256 on the first, .86 and 1.2039728 on the second."""
    chances = {"a": 0.6, "b": 0.3, "c": 0.1}
    assert measures.brier_of_many(chances, truth) == pytest.approx(brier)
    assert measures.log_loss_of_many(chances, truth) == pytest.approx(loss, abs=5e-8)


def test_calibration_error() -> None:
    """Ten at .8 with six right and ten at .3 with three right make an error of .10."""
    said = [0.8] * 10 + [0.3] * 10
    came = [1] * 6 + [0] * 4 + [1] * 3 + [0] * 7
    assert measures.calibration_error(said, came) == pytest.approx(0.10)
    bars = measures.reliability(said, came)
    assert [(bar.count, round(bar.came_true, 9)) for bar in bars] == [(10, 0.3), (10, 0.6)]


def test_calibration_by_chance_of_one_bar() -> None:
    """Of 100 forecasts of .5 an exact forecaster shows .0398 on average, .10 in 95 % (calc).

    |B - 50| / 100 for B binomial (100, 1/2): the mean is 50 C(100, 50) / 2^100 / 100 = .03979;
    P(|B - 50| <= 9) = .943 and P(|B - 50| <= 10) = .965.
    """
    middle, most = measures.calibration_by_chance([0.5] * 100)
    assert middle == pytest.approx(0.0398, abs=0.002)
    assert most == pytest.approx(0.10)


def test_calibration_interval_of_one_bar() -> None:
    """Of 100 forecasts of .5 with 70 right the error is .2, its 95 % interval .11 to .29 (calc).

    The resampled share is binomial (100, .7) over 100, standard deviation .0458.
    """
    low, high = measures.calibration_interval([0.5] * 100, [1] * 70 + [0] * 30)
    assert low == pytest.approx(0.2 - 1.96 * 0.0458, abs=0.015)
    assert high == pytest.approx(0.2 + 1.96 * 0.0458, abs=0.015)


def test_certain_forecasts_leave_nothing_to_chance() -> None:
    """Forecasts of 0 and 1 that are exactly right show no error at all."""
    assert measures.calibration_by_chance([0.0, 1.0, 1.0]) == (0.0, 0.0)


def test_machines_for_calibration_of_one_bar() -> None:
    """Forecasts of .5 scatter by .5 over the root of their number: .03 wants 1,067 (calc).

    1.96 x .5 / .03, squared; the steps of 100 forecasts round the quantile to .10 from .098.
    """
    assert measures.machines_for_calibration([0.5] * 100, 0.03) == pytest.approx(1067, rel=0.06)
    assert measures.machines_for_calibration([0.0, 1.0, 1.0]) == 0


def test_interval_of_380_of_400() -> None:
    """The 95 % interval of 380 in 400 is .924 to .967 (Wilson 1927)."""
    low, high = measures.wilson(380, 400)
    assert (round(low, 3), round(high, 3)) == (0.924, 0.967)


def test_interval_needs_a_case() -> None:
    """A share of nothing has no interval."""
    with pytest.raises(ValueError, match="at least one"):
        measures.wilson(0, 0)


def test_a_truth_that_is_not_in_the_answer_scores_worst() -> None:
    """A cause that the answer leaves out costs as much as one that it gives no chance."""
    assert measures.brier_of_many({"a": 1.0}, "b") == pytest.approx(2.0)


@pytest.mark.parametrize(("count", "off"), [(360, 0.0), (360, 0.1), (1200, 0.05)])
def test_debiased_calibration_against_simulated_forecasts(count: int, off: float) -> None:
    """Exact forecasts show nothing in half of the runs, forecasts off by a known amount that one.

    The 95 % interval holds the true root mean square in at least 92 of 100 runs, and the plain
    error of the exact forecasts is what chance adds.
    """
    random = np.random.default_rng(5)
    found, held, plain = [], [], []
    for _ in range(200):
        said = np.minimum(random.beta(2, 0.4, count), 0.9999)
        true = np.clip(said - off, 0, 1)
        came = (random.random(count) < true).astype(int).tolist()
        one = measures.debiased_calibration(said.tolist(), came)
        assert one is not None
        middle, low, high = one
        found.append(middle**2)
        held.append(low <= np.sqrt(np.mean((said - true) ** 2)) <= high)
        plain.append(measures.calibration_error(said.tolist(), came))
    assert np.mean(held) > 0.92
    assert np.sqrt(np.median(found)) == pytest.approx(off, abs=0.006)
    assert np.mean(plain) > off + (0.03 if not off else 0.0)


def test_debiased_calibration_of_two_bars() -> None:
    """Twenty at .3 with six right and twenty at .8 with twelve right, by hand (calc).

    Squares 0 and .04, variances of the mean .21/19 and .24/19: the mean of -.01105 and .02737.
    """
    said, came = [0.8] * 20 + [0.3] * 20, [1] * 12 + [0] * 8 + [1] * 6 + [0] * 14
    found = measures.debiased_calibration(said, came, most_bars=2)
    assert found is not None
    assert found[0] ** 2 == pytest.approx((-0.21 / 19 + 0.04 - 0.24 / 19) / 2, abs=1e-9)
    assert found[1] == 0.0 < found[0] < found[2]


def test_debiased_calibration_wants_twenty() -> None:
    """Of fewer than twenty forecasts nothing is said."""
    assert measures.debiased_calibration([0.5] * 19, [1] * 19) is None
