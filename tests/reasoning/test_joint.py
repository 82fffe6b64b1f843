"""Readings weighed together, against a dense Gaussian and the exact mixture over wrong readings."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from engine.reasoning.joint import Given, Joint, Readings, given, weigh_together
from tests.sweeps import swept


def drawn(seed: int, readings: int, quantities: int = 4, wrong: float = 0.02) -> Readings:
    """Return readings drawn from their own model under three hypotheses."""
    rng = np.random.default_rng(seed)
    loadings = rng.normal(0, 0.5, (3, readings, quantities))
    own = rng.uniform(0.01, 0.3, (3, readings))
    shared = rng.standard_normal((3, quantities))
    residual = np.einsum("hnq,hq->hn", loadings, shared)
    residual += rng.standard_normal(own.shape) * np.sqrt(own)
    level = np.full((3, readings), 1 / 30.0)
    return Readings(residual, loadings, own, level, np.ones(own.shape, dtype=bool), wrong)


def dense(readings: Readings, hypothesis: int, counts: list[int]) -> float:
    """Return the log density of some readings by a dense covariance matrix (SciPy)."""
    from scipy.stats import multivariate_normal  # slow to load

    if not counts:
        return 0.0
    loadings = readings.loadings[hypothesis][counts]
    covariance = loadings @ loadings.T + np.diag(readings.own_variance[hypothesis][counts])
    normal = multivariate_normal(np.zeros(len(counts)), covariance)
    return float(normal.logpdf(readings.residual[hypothesis][counts]))


def exact(readings: Readings, hypothesis: int, places: list[int]) -> float:
    """Return the log density summed over every choice of which readings are wrong."""
    terms = []
    for wrong in itertools.product((False, True), repeat=len(places)):
        right = [place for place, bad in zip(places, wrong, strict=True) if not bad]
        flat = [place for place, bad in zip(places, wrong, strict=True) if bad]
        chance = len(right) * np.log1p(-readings.flat_share)
        chance += sum(np.log(readings.flat_share * readings.level[hypothesis, n]) for n in flat)
        terms.append(chance + dense(readings, hypothesis, right))
    return float(logsumexp(terms))


@pytest.mark.parametrize("seed", range(5))
def test_right_readings_are_a_dense_gaussian(seed: int) -> None:
    """With wrong readings ruled out, the density is SciPy's multivariate normal."""
    readings = drawn(seed, 7, wrong=1e-300)
    found = weigh_together(readings)
    for hypothesis in range(3):
        expected = dense(readings, hypothesis, list(range(7)))
        assert found.log_likelihood[hypothesis] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("own", [1.0, 1e-3])
def test_compact_readings_say_the_same(own: float) -> None:
    """On a root of what they share, four readings of eleven quantities are a dense Gaussian too,
    also where one does not count and where they owe little to themselves."""
    readings = drawn(1, 4, quantities=11)
    active = readings.active.copy()
    active[1, 2] = False
    readings = replace(readings, own_variance=own * readings.own_variance, active=active)
    found, whole = weigh_together(readings.compact), weigh_together(readings)
    assert readings.compact.loadings.shape == (3, 4, 4)
    assert found.left_out == pytest.approx(whole.left_out, rel=1e-6)
    sure = replace(readings, flat_share=1e-300)
    assert weigh_together(sure.compact).log_likelihood[1] == pytest.approx(
        dense(readings, 1, [0, 1, 3]), rel=1e-6
    )


def test_compact_readings_bear_nothing_of_their_own() -> None:
    """Four readings that share one thing and have no noise to speak of: no failure, all finite."""
    readings = drawn(2, 4, quantities=9)
    same = np.zeros_like(readings.loadings)
    same[..., 0] = 0.3
    readings = replace(readings, loadings=same, own_variance=np.full((3, 4), 1e-30))
    assert np.isfinite(weigh_together(readings.compact).log_likelihood).all()


@pytest.mark.parametrize("seed", range(5))
def test_each_given_the_others_is_a_ratio_of_dense_gaussians(seed: int) -> None:
    """Leave-one-out is the joint density over that of the others (Good's definition)."""
    readings = drawn(seed, 6, wrong=1e-300)
    found = weigh_together(readings)
    for hypothesis, place in itertools.product(range(3), range(6)):
        others = [n for n in range(6) if n != place]
        expected = dense(readings, hypothesis, list(range(6))) - dense(readings, hypothesis, others)
        assert found.left_out[hypothesis, place] == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_without_loadings_the_mixture_is_exact(seed: int) -> None:
    """Readings that share nothing: every one is its own mixture of right and wrong."""
    readings = replace(drawn(seed, 5), loadings=np.zeros((3, 5, 4)))
    found = weigh_together(readings)
    for hypothesis in range(3):
        assert found.log_likelihood[hypothesis] == pytest.approx(
            exact(readings, hypothesis, list(range(5))), rel=1e-9
        )


@pytest.mark.parametrize("seed", swept(range(40), 5))
def test_with_loadings_the_mixture_is_near_the_exact_one(seed: int) -> None:
    """One wild reading among five that share their causes: within 0.7 of the sum over all 32."""
    readings = drawn(seed, 5)
    readings.residual[:, seed % 5] += 9.0
    found = weigh_together(readings)
    for hypothesis in range(3):
        assert found.log_likelihood[hypothesis] == pytest.approx(
            exact(readings, hypothesis, list(range(5))), abs=0.7
        )


def test_a_wild_reading_does_not_drag_the_others() -> None:
    """What the shared quantities are is told by the readings that agree."""
    clean, wild = drawn(3, 6), drawn(3, 6)
    wild.residual[:, 2] += 60.0
    without = weigh_together(replace(clean, active=np.arange(6) != np.full((3, 6), 2)))
    found = weigh_together(wild)
    assert found.wrong[:, 2].all()
    assert found.shared_mean == pytest.approx(without.shared_mean, rel=1e-6)


def test_a_second_reading_of_the_same_thing_says_less() -> None:
    """Two readings that share all but a little: the second is nearly known from the first."""
    loadings = np.ones((1, 2, 1))
    readings = Readings(
        np.full((1, 2), 3.0), loadings, np.full((1, 2), 0.01), np.full((1, 2), 1e-3),
        np.ones((1, 2), dtype=bool), 0.02,
    )  # fmt: skip
    first = weigh_together(replace(readings, active=np.array([[True, False]])))
    both = weigh_together(readings)
    assert both.log_likelihood[0] > first.log_likelihood[0]
    assert first.log_likelihood[0] < -3.0
    assert both.left_out[0, 1] > 0.0


def test_what_is_next_is_predicted_given_what_was_read() -> None:
    """The mean and variance of another reading are those of the dense conditional Gaussian."""
    readings = drawn(11, 5, wrong=1e-300)
    found: Joint = weigh_together(replace(readings, active=np.arange(5) < np.full((3, 5), 4)))
    shift, variance = found.conditional(readings.loadings[:, 4:5])
    for hypothesis in range(3):
        loadings = readings.loadings[hypothesis]
        full = loadings @ loadings.T
        among = full[:4, :4] + np.diag(readings.own_variance[hypothesis, :4])
        gain = full[4, :4] @ np.linalg.inv(among)
        assert shift[hypothesis] == pytest.approx(gain @ readings.residual[hypothesis, :4])
        assert variance[hypothesis] == pytest.approx(full[4, 4] - gain @ full[:4, 4])


@pytest.mark.parametrize(("seed", "off"), [(11, 0.0), (12, 9.0)])
def test_few_readings_tell_the_same_of_the_next_in_a_smaller_matrix(seed: int, off: float) -> None:
    """By the readings' own covariance or by that of what they share; one may be wild."""
    readings = drawn(seed, 5, quantities=9)
    readings.residual[:, 1] += off
    few, many = given(readings), weigh_together(readings)
    assert isinstance(few, Given)
    assert many.wrong.any() == bool(off)
    others = drawn(seed + 1, 3, quantities=9).loadings
    for one, other in zip(few.conditional(others), many.conditional(others), strict=True):
        assert one == pytest.approx(other)
    assert isinstance(given(drawn(seed, 5, quantities=4)), Joint)


def test_nothing_read_says_nothing() -> None:
    """No readings: no evidence, and the shared quantities are as they were."""
    none = np.zeros((2, 0))
    found = weigh_together(Readings(none, np.zeros((2, 0, 3)), none, none, none.astype(bool), 0.02))
    assert not found.log_likelihood.any()
    assert found.shared_covariance == pytest.approx(np.stack([np.eye(3)] * 2))
