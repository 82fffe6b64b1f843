"""A fault that is not in the list: what it gives, when it leads, and when it does not."""

import math
from typing import Any

import numpy as np
import pytest

from engine import Diagnoser
from engine.physics.machine import Machine
from engine.physics.model import NOT_LISTED, Model
from engine.reasoning.belief import (
    BAD_SURPRISE,
    NEAR,
    ONE_FAULT,
    SECOND_FAULT,
    TWO_FAULTS,
    UNLISTED,
    Belief,
    Beta,
    _more_surprises,
    believe,
    mixed,
)
from engine.reasoning.effects import Effects
from engine.reasoning.observe import observe
from engine.reasoning.request import read_request

MACHINE = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}


@pytest.fixture(scope="module")
def model(diagnoser: Diagnoser) -> Model:
    """Give the model of a timed fuel shut-off with a case-ground coil."""
    return diagnoser.models.get(Machine(**MACHINE))


def believed(diagnoser: Diagnoser, model: Model, *findings: dict[str, Any]) -> Belief:
    """Return the belief from findings, no rule at work."""
    request = read_request({"machine": MACHINE, "findings": list(findings)}, diagnoser.knowledge)
    return believe(model, [observe(model, one) for one in request.findings], Effects())


def chance(belief: Belief) -> float:
    """Return the belief that the fault is not in the list."""
    return float(belief.causes[belief.model.causes.index(NOT_LISTED)])


def test_beforehand_it_has_its_share(diagnoser: Diagnoser, model: Model) -> None:
    """Three to five in a hundred calls are about something that the list does not hold."""
    assert 0.03 <= chance(believed(diagnoser, model)) <= 0.05


def test_one_finding_says_nothing_for_or_against_it(diagnoser: Diagnoser, model: Model) -> None:
    """It gives every result as often as the whole list does, so one result leaves it where it was:
    the prior predictive chance, summed here by hand. But for the part that looks like a listed one,
    a finding that surprises nobody is rarer of it."""
    before = chance(believed(diagnoser, model))
    heard = believed(diagnoser, model, {"check": "relay-click", "outcome": "not-heard"})
    seen = heard.weighed[0].log_likelihood
    listed = np.where(model.unlisted, 0.0, model.prior)
    expected = np.log(listed @ np.exp(seen) / listed.sum())
    assert seen[model.unlisted] == pytest.approx(expected)
    assert not (heard.together.surprises < BAD_SURPRISE).any()
    less = 1 - NEAR + NEAR * likelier((0, 0), (0, 1))
    odds = before / (1 - before) * less
    assert chance(heard) == pytest.approx(odds / (1 + odds))


def test_it_leads_where_no_cause_fits(diagnoser: Diagnoser) -> None:
    """Full current in both windings, a good pulse, a good ground and a dead engine with good fuel:
    no listed cause of the solenoid's circuit gives that together."""
    answer = diagnoser.diagnose({
        "machine": MACHINE,
        "findings": [
            {"check": "engine-response", "outcome": "will-not-stop"},
            {"check": "plunger-action", "outcome": "no-movement"},
            {"check": "plunger-return", "outcome": "springs-out"},
            {"check": "hold-pin-voltage-key-off", "value": 0.0, "unit": "V"},
            {"check": "fuel-lever-by-hand", "outcome": "free"},
        ],
    })  # fmt: skip
    ranked = [one["id"] for one in answer["causes"]]
    assert NOT_LISTED in ranked[:2]


def test_it_does_not_lead_where_one_cause_fits(diagnoser: Diagnoser) -> None:
    """A winding that reads open, no current, full volts at its pin: the winding, and no mystery."""
    answer = diagnoser.diagnose({
        "machine": MACHINE, "limit": 0,
        "findings": [
            {"check": "engine-response", "outcome": "cranks-no-start"},
            {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
            {"check": "pull-current", "value": 0.0, "unit": "A"},
            {"check": "pull-pin-voltage", "value": 12.3, "unit": "V"},
        ],
    })  # fmt: skip
    told = {one["id"]: one["probability"] for one in answer["causes"]}
    assert answer["causes"][0]["id"] == "pull-winding-open"
    assert told[NOT_LISTED] < 0.05


def share(of: Beta, ohms: tuple[int, int], others: tuple[int, int]) -> float:
    """Return how often so many of so many surprise, as SciPy has it."""
    from scipy.stats import betabinom  # slow to load

    both = zip((ohms, others), of, strict=True)
    return math.prod(float(betabinom.pmf(many, count, *one)) for (many, count), one in both)


def likelier(ohms: tuple[int, int], others: tuple[int, int]) -> float:
    """Return how much likelier so many surprises are of a fault not listed than of listed ones, of
    which there are two in SECOND_FAULT of the cases."""
    one, two, none = (share(of, ohms, others) for of in (ONE_FAULT, TWO_FAULTS, UNLISTED))
    return none / ((1 - SECOND_FAULT) * one + SECOND_FAULT * two)


@pytest.mark.parametrize(("ohms", "others"), [(0, 1), (7, 0), (3, 60)])
def test_more_surprises_are_one_beta_binomial_over_others(ohms: int, others: int) -> None:
    """The share of findings that surprise is Beta, of ohms and of others: by SciPy's sums."""
    found = np.exp(_more_surprises(ohms, others))
    assert found.shape == (ohms + 1, others + 1)
    for (many, more), value in np.ndenumerate(found):
        assert value == pytest.approx(likelier((many, ohms), (more, others)))


def test_a_surprise_among_ohms_tells_more_than_another() -> None:
    """They are read on a dead circuit, with no moment to miss. So many that two must be there
    tell less again."""
    found = _more_surprises(8, 60)
    assert found[1, 0] - found[0, 0] > found[0, 1] - found[0, 0] > 0
    assert found[4, 0] - found[3, 0] < found[1, 0] - found[0, 0]


FITTING: list[dict[str, Any]] = [
    {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
    {"check": "relay-click", "outcome": "heard"},
    {"check": "lamp-at-pull-pin", "outcome": "bright"},
    {"check": "plunger-action", "outcome": "no-movement"},
    {"check": "bench-pull", "outcome": "pulls-and-holds"},
]


def test_one_that_looks_like_a_listed_one_is_summed_by_hand(
    diagnoser: Diagnoser, model: Model
) -> None:
    """Nine in ten give what a listed hypothesis gives, times how much likelier its surprises
    are, ohms and others apart; what a finding adds is all findings over all but that one."""
    belief = believed(diagnoser, model, *FITTING)
    found = mixed(belief.always, belief.sometimes, belief.at_times)
    listed = np.where(model.unlisted, 0.0, np.exp(belief.log_prior))

    ohms = np.array([one["check"].endswith("-ohms") for one in FITTING])
    assert ohms.any()
    assert not ohms.all()

    def near(left_out: int | None) -> float:
        kept = np.array([n for n in range(len(FITTING)) if n != left_out])
        odd = found.surprises < np.log(0.02)
        kinds = [kept[ohms[kept]], kept[~ohms[kept]]]
        more = [
            likelier(*((int(odd[kind, n].sum()), len(kind)) for kind in kinds))
            for n in range(len(listed))
        ]
        logs = found.total if left_out is None else found.total - found.terms[left_out]
        return float((listed * np.exp(logs) * more).sum() / listed.sum())

    place = np.flatnonzero(model.unlisted)[0]
    whole = (1 - NEAR) * np.exp(found.total[place]) + NEAR * near(None)
    assert belief.together.total[place] == pytest.approx(np.log(whole))
    for n in range(len(FITTING)):
        far = (1 - NEAR) * np.exp(found.total[place] - found.terms[n, place])
        without = np.log(far + NEAR * near(n))
        assert belief.together.terms[n, place] == pytest.approx(np.log(whole) - without)


def test_one_that_looks_like_a_listed_one_is_never_ruled_out(
    diagnoser: Diagnoser, model: Model
) -> None:
    """However well a listed cause fits, some of its share stays with what is not listed."""
    belief = believed(diagnoser, model, *FITTING[:4])
    assert belief.model.causes[belief.order[0]] == "pull-winding-open"
    assert chance(belief) > 0.002


def test_what_looked_like_a_listed_one_goes_on_as_it_did(
    diagnoser: Diagnoser, model: Model
) -> None:
    """Of a check to come it gives, for its part that looks so, what the listed ones give as they
    are believed now, and for the rest what they give beforehand (summed here by hand)."""
    belief = believed(diagnoser, model, *FITTING[:4])
    known = belief.known
    kept = known.rows
    place = int(np.flatnonzero(model.unlisted)[0])
    (forecast,) = known.forecasts(["relay-swap"])
    listed = kept != place

    def expected(weights: np.ndarray) -> np.ndarray:
        mine = weights[listed]
        return np.asarray(mine @ forecast.bins[listed] / mine.sum())

    whole = np.exp(belief.together.total[place])
    near = 1 - (1 - NEAR) * np.exp(belief.always.total[place]) / whole
    assert NEAR < near < 1
    by_hand = near * expected(known.weights) + (1 - near) * expected(model.prior[kept])
    assert forecast.bins[~listed][0] == pytest.approx(by_hand)
