"""``kb groups`` and the measure behind it."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from click.testing import Result
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import rel_entr

from engine.audit.groups import cliques, groups, look_alikes
from engine.audit.separation import TOLD_APART_DB, Survey, by_cause, machines
from engine.physics.prediction import ReadingPrediction

Run = Callable[..., Result]
DECIBANS_A_NAT = 10 / np.log(10)  # I. J. Good: a ban is a factor of ten in odds


def test_every_group_carries_its_reason_or_its_checks(survey: Survey) -> None:
    """A pair that nothing tells apart has a declared reason; every other pair has its checks."""
    for level in ("no-check", "phone"):
        found = groups(survey, level, machines(survey.knowledge, (12,)))
        assert found
        for one in found:
            pairs = set(itertools.combinations(sorted(one.causes), 2))
            assert not one.never or one.declared
            told = {
                pair
                for pair in pairs
                if any(
                    survey.of(one.machines[0]).at(check, *pair) >= TOLD_APART_DB
                    for check in one.told_apart_by
                )
            }
            assert told | set(one.never) == pairs


def test_every_declared_reason_is_needed(survey: Survey) -> None:
    """Each row of the look-alikes stands behind a group."""
    found = groups(survey, "no-check", machines(survey.knowledge))
    used = {row.id for one in found for row in one.declared}
    assert used == {row.id for row in look_alikes(survey.knowledge)}


def test_command_prints_groups_and_reasons(run: Run, survey: Survey) -> None:
    """Both levels are printed, and each reason in full once."""
    done = run("kb", "groups")
    assert done.exit_code == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "NO CHECK TELLS THESE APART" in text
    assert "NO QUESTION BY PHONE TELLS THESE APART" in text
    for row in look_alikes(survey.knowledge):
        assert text.count(row.reason) == 1
    assert "No reason is declared" not in text


def test_phone_groups_hold_only_what_questions_do_not_tell(survey: Survey) -> None:
    """No question that can be asked by phone tells two causes of a phone group apart."""
    asked = [one.id for one in survey.knowledge.checks.values() if one.kind == "ask"]
    for one in groups(survey, "phone", machines(survey.knowledge, (12,), ("case-ground",))):
        separation = survey.of(one.machines[0])
        for pair in itertools.combinations(one.causes, 2):
            told = [separation.at(name, *pair) for name in asked if name in separation.checks]
            assert max(told) < TOLD_APART_DB


def test_measure_of_outcomes_is_jeffreys_divergence(survey: Survey) -> None:
    """For an outcome check the measure is half of Jeffreys' divergence, as SciPy works it out."""
    separation = survey.of(machines(survey.knowledge)[0])
    model, check = separation.model, "plunger-action"
    shares = model.predictions[check].bins

    def of(cause: str) -> np.ndarray:
        mine = model.prior * (model.cause_of == model.causes.index(cause))
        return (mine / mine.sum()) @ shares

    for first, second in (("ground-open", "healthy"), ("travel-short", "plunger-binding")):
        p, q = of(first), of(second)
        wanted = DECIBANS_A_NAT * (rel_entr(p, q).sum() + rel_entr(q, p).sum()) / 2
        assert separation.at(check, first, second) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize(
    ("check", "second"),
    [
        ("pull-current", "pull-winding-shorted"),
        ("ground-side-voltage", "battery-cable-resistive"),
        ("hold-winding-ohms", "hold-winding-shorted"),
        ("hold-winding-ohms", "hold-winding-open"),
    ],
)
def test_measure_of_readings_is_the_integral_over_the_density(
    survey: Survey, check: str, second: str
) -> None:
    """For a reading the cells give what NumPy's integral over the engine's density gives."""
    separation = survey.of(machines(survey.knowledge)[0])
    model, prediction = separation.model, separation.model.predictions[check]
    assert isinstance(prediction, ReadingPrediction)
    low = float(prediction.scale.of(prediction.low))
    grid = np.linspace(low, low + prediction.width, 2001)
    values = prediction.scale.back(grid)
    density = np.stack([prediction.density(value) for value in values])  # (value, hypothesis)
    over = prediction.open_share()

    def of(cause: str) -> tuple[np.ndarray, float]:
        mine = model.prior * (model.cause_of == model.causes.index(cause))
        mine = mine / mine.sum()
        return density @ mine, float(over @ mine) if prediction.unit == "ohm" else 0.0

    (p, p_open), (q, q_open) = of("ground-resistive"), of(second)
    there = np.trapezoid((p - q) * np.log(p / q), grid)
    if prediction.unit == "ohm":
        there += (p_open - q_open) * np.log(p_open / q_open)
    wanted = DECIBANS_A_NAT * there / 2
    assert wanted > TOLD_APART_DB
    assert separation.at(check, "ground-resistive", second) == pytest.approx(wanted, rel=0.03)


def test_cells_sum_to_one(survey: Survey) -> None:
    """Whatever is read falls into some cell, up to what lies beyond the instrument's range."""
    model = survey.of(machines(survey.knowledge)[0]).model
    for name, prediction in model.predictions.items():
        every = by_cause(prediction, np.eye(prediction.size))
        assert every.sum(axis=1) == pytest.approx(1.0, abs=1e-6), name


@settings(derandomize=True)
@given(st.sets(st.tuples(st.sampled_from("abcdefg"), st.sampled_from("abcdefg"))))
def test_cliques_are_the_largest_sets_of_pairs(drawn: set[tuple[str, str]]) -> None:
    """On any small graph the groups are just the sets of pairs that no further one can join."""
    pairs = {(a, b) for a, b in drawn if a < b}
    names = sorted({one for pair in pairs for one in pair})

    def full(some: tuple[str, ...]) -> bool:
        return all(pair in pairs for pair in itertools.combinations(some, 2))

    sets = [
        some
        for size in range(2, len(names) + 1)
        for some in itertools.combinations(names, size)
        if full(some)
    ]
    wanted = [one for one in sets if not any(set(one) < set(other) for other in sets)]
    assert cliques(pairs) == sorted(wanted)
