"""Belief: weight of evidence as I. J. Good has it, groups of look-alikes, and the fit.

The posterior of the shipped base is compared with exact inference in tests/reference.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.diagnosis import Diagnoser
from engine.physics.machine import Machine
from engine.reasoning.belief import (
    GROUP_DECIBANS,
    MAX_DECIBANS,
    Belief,
    Weighed,
    fit_of,
    log_prior,
    normalised,
)
from engine.reasoning.request import Finding

CHANCE = st.floats(0.01, 0.99)
CRANK = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}


class Causes:
    """As much of a model as belief needs: each hypothesis is a cause of its own."""

    def __init__(self, count: int) -> None:
        self.causes = tuple(f"cause-{n}" for n in range(count))
        self.unlisted = np.zeros(count, dtype=bool)

    def by_cause(self, weights: Any) -> Any:
        """Return the weights as they are."""
        return np.asarray(weights)

    def ranked(self, weights: Any) -> list[int]:
        """Return the causes, most probable first; equal ones in their order."""
        return [int(n) for n in np.argsort(-np.round(weights, 9), kind="stable")]


def belief(
    prior: list[float], *likelihoods: list[float], shares: tuple[float, ...] | None = None
) -> Belief:
    """Return the belief from a prior and the likelihoods of some findings."""
    weighed = tuple(
        Weighed(
            Finding(n, f"check-{n}", None, None, None, ""),
            np.log(row), np.log(np.array(row) / max(row)),
        )
        for n, row in enumerate(likelihoods)
    )  # fmt: skip
    counted = shares or (1.0,) * len(likelihoods)
    model: Any = Causes(len(prior))
    return Belief(model, np.log(prior), weighed, counted)


@pytest.mark.parametrize(
    ("prior", "ratio", "decibans", "posterior"),
    [(0.01, 10.0, 10.0, 0.0917431), (0.2, 4.0, 6.0206, 0.5)],
)
def test_weight_of_evidence(prior: float, ratio: float, decibans: float, posterior: float) -> None:
    """Prior 0.01 and ratio 10 give 10 dB and 0.0917431; 0.2 and 4 give 6.0206 dB and one half
    (I. J. Good's definition; calculated)."""
    found = belief([prior, 1 - prior], [ratio * 0.05, 0.05])
    assert found.causes[0] == pytest.approx(posterior, abs=5e-8)
    assert found.decibans[0, 0] == pytest.approx(decibans, abs=5e-5)


def test_a_batch_that_is_one_third_bad_or_one_sixth() -> None:
    """A bad item weighs +3.0103 dB and a good one -0.9691; from -10 dB twelve bad ones in a row
    lead to +26.1236 dB (Jaynes 2003, chapter 4; set-up from memory, calculated)."""
    prior = 10**-1 / (1 + 10**-1)
    one = belief([prior, 1 - prior], [1 / 3, 1 / 6], [2 / 3, 5 / 6])
    assert one.decibans[:, 0] == pytest.approx([3.0103, -0.9691], abs=5e-5)
    twelve = belief([prior, 1 - prior], *[[1 / 3, 1 / 6]] * 12)
    odds = twelve.causes[0] / twelve.causes[1]
    assert 10 * math.log10(odds) == pytest.approx(26.1236, abs=5e-5)


@given(prior=CHANCE, rows=st.lists(st.tuples(CHANCE, CHANCE), min_size=1, max_size=6))
def test_decibans_add_up_between_two_causes(prior: float, rows: list[tuple[float, float]]) -> None:
    """With two causes the weights of all findings add to the odds after over the odds before."""
    found = belief([prior, 1 - prior], *[list(row) for row in rows])
    after = 10 * math.log10(found.causes[0] / found.causes[1])
    before = 10 * math.log10(prior / (1 - prior))
    assert found.decibans[:, 0].sum() == pytest.approx(after - before, abs=1e-6)


def test_a_finding_that_says_the_same_of_all_weighs_nothing() -> None:
    """A likelihood that is equal under every cause moves none of them."""
    found = belief([0.5, 0.3, 0.2], [0.4, 0.4, 0.4])
    assert found.causes == pytest.approx([0.5, 0.3, 0.2])
    assert np.abs(found.decibans).max() < 1e-9


def test_a_finding_that_counts_a_share() -> None:
    """Half a finding is its likelihood to the power of one half; none of it is as left out."""
    half = belief([0.5, 0.5], [0.9, 0.1], shares=(0.5,))
    assert half.causes[0] / half.causes[1] == pytest.approx(3.0)
    none = belief([0.5, 0.5], [0.9, 0.1], [0.2, 0.7], shares=(0.0, 1.0))
    assert none.causes == pytest.approx(belief([0.5, 0.5], [0.2, 0.7]).causes)
    assert none.decibans[0] == pytest.approx([0.0, 0.0])


def test_certainty_is_bounded_in_words() -> None:
    """A finding that all but proves a cause weighs no more than the bound, either way."""
    found = belief([0.5, 0.5], [1.0, 1e-290])
    assert found.decibans.tolist() == [[MAX_DECIBANS, -MAX_DECIBANS]]


@given(logs=st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=8))
def test_normalising_never_over_or_underflows(logs: list[float]) -> None:
    """Whatever the size of the logarithms, the shares are numbers that sum to 1."""
    found = normalised(np.array(logs))
    assert np.isfinite(found).all()
    assert found.sum() == pytest.approx(1.0)


def test_no_findings_leave_the_prior() -> None:
    """Without findings belief is the prior, all causes are one group, and the fit is good."""
    found = belief([0.5, 0.3, 0.2])
    assert found.causes == pytest.approx([0.5, 0.3, 0.2])
    assert set(found.groups().values()) == {1}
    assert fit_of(found).verdict == "good"
    assert found.decibans.shape == (0, 3)


def test_look_alikes_share_a_group() -> None:
    """Causes that predict every finding alike share a number, whatever their priors are."""
    found = belief([0.1, 0.6, 0.3], [0.9, 0.9, 0.1], [0.5, 0.5, 0.5])
    groups = found.groups()
    assert found.order == [1, 0, 2]
    assert groups == {1: 1, 0: 1, 2: 2}


def test_many_small_differences_part_a_group() -> None:
    """Three findings of 1 dB each in the same direction tell two causes apart."""
    ratio = 10 ** (1.0 / 10)
    assert GROUP_DECIBANS > 1.0
    row = [0.5, 0.5 / ratio]
    assert len(set(belief([0.5, 0.5], row).groups().values())) == 1
    assert len(set(belief([0.5, 0.5], row, row, row).groups().values())) == 2


def test_equal_causes_stand_by_name() -> None:
    """Causes of the same belief are ordered by name, in every process."""
    assert belief([0.25, 0.25, 0.25, 0.25], [0.4, 0.4, 0.4, 0.4]).order == [0, 1, 2, 3]


def surprising(*rows: list[float]) -> Belief:
    """Return a belief whose findings surprise the causes so much (1 is not at all)."""
    weighed = tuple(
        Weighed(Finding(n, "check", None, None, None, ""), np.log(row), np.log(row))
        for n, row in enumerate(rows)
    )
    model: Any = Causes(len(rows[0]))
    return Belief(model, np.log([1 / len(rows[0])] * len(rows[0])), weighed, (1.0,) * len(rows))


def test_fit_is_good_strained_or_poor() -> None:
    """One finding that even the best cause hardly predicts strains the fit, two make it poor."""
    assert fit_of(surprising([0.9, 0.1], [0.8, 0.1])).verdict == "good"
    assert fit_of(surprising([0.9, 0.001], [0.001, 0.0001])).verdict == "strained"
    poor = fit_of(surprising([0.001, 0.0001], [0.001, 0.0001], [0.9, 0.0001]))
    assert poor.verdict == "poor"


def test_the_two_that_disagree_most() -> None:
    """Of three findings the two that no cause predicts together are named."""
    fit = fit_of(surprising([0.9, 1e-4], [0.9, 0.9], [1e-4, 0.9]))
    assert (fit.verdict, fit.disagreeing) == ("strained", (0, 2))


def test_a_finding_that_counts_for_nothing_cannot_spoil_the_fit() -> None:
    """A finding that was set aside does not strain the fit."""
    found = surprising([0.9, 0.1], [1e-6, 1e-6])
    aside = Belief(found.model, found.log_prior, found.weighed, (1.0, 0.0))
    assert fit_of(found).verdict == "strained"
    assert fit_of(aside).verdict == "good"


def test_shifts_multiply_odds_and_drops_remove(diagnoser: Diagnoser) -> None:
    """A cause shifted by three has three times the odds to the others; a dropped one has none."""
    model = diagnoser.models.get(Machine(**CRANK))
    plain = model.by_cause(normalised(log_prior(model, {})))
    moved = model.by_cause(normalised(log_prior(model, {"fuse-open": 3.0}, ["ground-open"])))
    fuse, ground = model.causes.index("fuse-open"), model.causes.index("ground-open")
    other = model.causes.index("pull-wire-open")
    assert moved[fuse] / moved[other] == pytest.approx(3 * plain[fuse] / plain[other])
    assert moved[ground] == pytest.approx(0.0, abs=1e-100)


Ask = Callable[..., dict[str, Any]]


@pytest.fixture(scope="module")
def ask(diagnoser: Diagnoser) -> Ask:
    """Give a function that diagnoses findings on a crank-controlled machine, all causes shown."""

    def diagnose(*findings: dict[str, Any]) -> dict[str, Any]:
        return diagnoser.diagnose(
            {"machine": CRANK, "findings": list(findings), "limit": 0, "on_hand": []}
        )

    return diagnose


def test_not_known_is_no_information(ask: Ask) -> None:
    """A check that was asked without an answer leaves every belief as it was."""
    known = {"check": "pull-pin-voltage", "value": 9.5, "unit": "V"}
    plain, asked = ask(known), ask(known, {"check": "relay-click", "outcome": "not-known"})
    assert [(c["id"], c["probability"]) for c in plain["causes"]] == [
        (c["id"], c["probability"]) for c in asked["causes"]
    ]


def test_the_same_check_twice_counts_twice_and_a_contradiction_shows(ask: Ask) -> None:
    """Two readings of one check both weigh, and when they contradict each other the fit says so
    and names the two."""
    low, high = ({"check": "ground-side-voltage", "value": v, "unit": "V"} for v in (0.35, 6.0))
    once, twice = ask(high), ask(high, high)
    lead = once["causes"][0]
    assert lead["id"] in ("ground-resistive", "ground-open")
    weights = [e for c in twice["causes"] if c["id"] == lead["id"] for e in c["evidence"]]
    assert {e["finding"] for e in weights} == {0, 1}
    at_odds = ask(low, high)
    assert at_odds["fit"]["verdict"] in ("strained", "poor")
    assert at_odds["fit"]["disagreeing"] == [0, 1]
    assert once["fit"]["verdict"] == "good"


def test_two_hundred_findings_are_weighed(ask: Ask) -> None:
    """200 times the same reading is legal, and makes the cause as good as certain."""
    findings = [{"check": "battery-voltage-crank", "value": 6.5, "unit": "V"}] * 200
    answer = ask(*findings)
    assert answer["causes"][0]["probability"] > 0.5
    assert math.isfinite(sum(c["probability"] for c in answer["causes"]))
