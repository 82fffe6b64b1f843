"""The posterior against exact inference by pyAgrum on the same single-fault network.

The network's tables are the model's prior and predictions; what is compared is everything that
follows: multiplying, weighing down, shifting, faults that come and go, normalising, summing to
causes, and the weight of each finding in decibans from the odds with it and without it. Of a fault
that is not listed a part looks like those that are (tests/reasoning/test_not_listed.py sums it by
hand); no network has that, and it is left out here.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from engine import Diagnoser, Knowledge
from engine.physics.circuit import Floats
from engine.physics.model import NOT_LISTED, Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.belief import (
    MAX_DECIBANS,
    Belief,
    away_chance,
    blend,
    log_prior,
    share_at_times,
    weigh,
    while_away,
)
from engine.reasoning.effects import effects_of
from engine.reasoning.observe import Observation, case_view, observe
from engine.reasoning.request import NOT_KNOWN, OPEN, read_request
from tests.reference import draws
from tests.reference.bayes_net import (
    Child,
    Network,
    Times,
    decibans,
    factors_of,
    of_likelihood,
)

PROBABILITY = 1e-9
DECIBANS = 1e-6
ROUNDED = 1e-6 + PROBABILITY  # a cause and a fault that is not listed, each to six digits
CLEAR_OF_ZERO = 1e-12  # below this the odds of either side are made of rounding
MACHINES, CASES_A_MACHINE = 10, 5

Figure = Callable[[str], None]
Sized = Callable[[int], int]


@pytest.fixture(scope="module", autouse=True)
def apart() -> Iterator[None]:
    """Let readings share nothing, as in the network: what they share is held by test_joint."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("engine.reasoning.belief._quantities", lambda readings, least=2: ())
        yield


def child_of(model: Model, corrected: Observation, share: float) -> Child:
    """Return a finding's node: all outcomes of a check, or a reading's likelihood.

    A finding that counts a share enters with its likelihood to that power; one of a fault that
    comes and goes may have been made while it was away.
    """
    finding, prediction = corrected.finding, model.prediction(corrected.conditions)
    away = away_chance(model, finding.check, finding.provoked is not None)
    if finding.outcome == NOT_KNOWN:
        return Child(of_likelihood(np.ones(len(model.hypotheses))), 0, away)
    if isinstance(prediction, OutcomePrediction):
        seen = prediction.names.index(str(finding.outcome))
        shares = with_unlisted(model, prediction.shares)
        return Child(np.ascontiguousarray(shares), seen, away, share)
    if finding.outcome == OPEN:
        likelihood = prediction.open_share()
    else:
        assert corrected.value is not None
        likelihood = prediction.density(corrected.value, corrected.meter)
    return Child(of_likelihood(with_unlisted(model, likelihood)), 0, away, share)


def with_unlisted(model: Model, likelihood: Floats) -> Floats:
    """Return likelihoods with the fault that is not in the list as the mean of the list."""
    unlisted = [number for number, one in enumerate(model.hypotheses) if one.cause == "not-listed"]
    found, weights = likelihood.copy(), model.prior.copy()
    weights[unlisted] = 0.0
    found[unlisted] = np.average(likelihood, axis=0, weights=weights)
    return found


@dataclass(frozen=True)
class Drawn:
    """One random case: a model, its findings with the share each counts, and what rules shift."""

    request: dict[str, Any]
    model: Model
    corrected: tuple[Observation, ...]
    shares: tuple[float, ...]
    shifts: dict[str, float]
    at_times: float
    dropped: tuple[str, ...]

    def belief(self) -> Belief:
        """Return the engine's belief."""
        weighed = [weigh(one) for one in self.corrected]
        prior = log_prior(self.model, self.shifts, self.dropped)
        return Belief(
            self.model, prior, tuple(blend(self.model, one) for one in weighed), self.shares,
            tuple(blend(self.model, while_away(self.model, one)) for one in weighed),
            share_at_times(self.model, self.at_times),
        )  # fmt: skip

    def network(self) -> Network:
        """Return the same for exact inference."""
        pairs = zip(self.corrected, self.shares, strict=True)
        children = [child_of(self.model, one, share) for one, share in pairs]
        share = self.model.comes_and_goes
        odds = share / (1.0 - share) * self.at_times
        return Network(self.model, children, Times(odds / (1.0 + odds), self.model.good))

    def factors(self) -> Floats:
        """Return the soft evidence on the causes."""
        return factors_of(self.model.causes, {**self.shifts, **dict.fromkeys(self.dropped, 0.0)})


def draw(rng: random.Random, knowledge: Knowledge, model: Model, seldom: bool) -> Drawn:
    """Draw findings as rules might have left them: some weakened, some causes shifted; with what
    is seldom drawn, where that is asked for."""
    stated = draws.findings(rng, knowledge, model, rng.randrange(1, 11))
    if seldom:
        ohms = next(name for name in sorted(model.predictions) if name.endswith("-ohms"))
        stated += [{"check": ohms, "outcome": one} for one in (OPEN, NOT_KNOWN)]
    raw = {"machine": draws.as_request(model.machine), "findings": stated}
    found = read_request(raw, knowledge).findings
    shares = tuple(rng.choice([1.0, 1.0, 1.0, 0.5, 0.3, 0.0]) for _ in found)
    causes = rng.sample(model.causes, 5) if rng.random() < 0.5 else []
    return Drawn(
        raw, model, tuple(observe(model, one) for one in found), shares,
        {name: round(rng.uniform(0.05, 20), 2) for name in causes[:3]},
        rng.choice([0.0, 0.2, 1.0, 5.0]), tuple({*causes[3:], NOT_LISTED}),
    )  # fmt: skip


@pytest.fixture(scope="module")
def cases(diagnoser: Diagnoser, enlarged: Sized) -> list[Drawn]:
    """Give the random cases: machines of every kind, some with coil or control unknown."""
    rng = draws.generator(11)
    found = []
    kinds = draws.cycle(draws.MACHINE_KINDS, rng)
    for kind, number in zip(kinds, range(enlarged(MACHINES)), strict=False):
        machine = draws.machine(rng, kind, unknowns=number > 1)
        if number == 0:  # all is unknown of the first, nothing of the second: so both are there
            machine = replace(machine, coil="unknown", control="unknown")
        model, first = diagnoser.models.get(machine), not found
        found += [
            draw(rng, diagnoser.knowledge, model, first and one == 0)
            for one in range(CASES_A_MACHINE)
        ]
    return found


def test_the_draw_covers_what_it_claims(cases: list[Drawn]) -> None:
    """Unknown coils and controls, readings, outcomes, open readings and weakening all occur."""
    assert len(cases) >= MACHINES * CASES_A_MACHINE
    assert {"unknown"} < {one.model.machine.coil for one in cases}
    assert {"unknown"} < {one.model.machine.control for one in cases}
    findings = [one.finding for case in cases for one in case.corrected]
    assert {NOT_KNOWN, OPEN} < {one.outcome for one in findings}
    assert sum(one.value is not None for one in findings) > len(cases)
    assert sum(share < 1 for case in cases for share in case.shares) > len(cases)


def test_cause_posteriors(cases: list[Drawn], figure: Figure) -> None:
    """Every cause's probability is that of exact inference, to 1e-9."""
    worst = 0.0
    for case in cases:
        exact = case.network().causes(case.factors())
        apart = np.abs(case.belief().causes - exact)
        assert apart.max() <= PROBABILITY, case.model.causes[int(apart.argmax())]
        worst = max(worst, float(apart.max()))
    hypotheses = max(len(case.model.hypotheses) for case in cases)
    figure(f"{len(cases)} cases, up to {hypotheses} hypotheses, posteriors {worst:.1e} apart")


def test_weights_of_evidence(cases: list[Drawn], figure: Figure) -> None:
    """Each finding's decibans are those of the exact odds with it and without it."""
    worst, compared = 0.0, 0
    for case in cases:
        network, factors = case.network(), case.factors()
        exact = network.causes(factors)
        found = case.belief().decibans
        for row in range(len(case.corrected)):
            without = network.causes(factors, without=row)
            sure = np.minimum(np.minimum(exact, without), 1 - np.maximum(exact, without))
            clear = sure > CLEAR_OF_ZERO
            with np.errstate(divide="ignore", invalid="ignore"):
                weights = decibans(exact, without)
            apart = np.abs(found[row] - np.clip(weights, -MAX_DECIBANS, MAX_DECIBANS))[clear]
            # near certainty the odds keep only so many of the probability's digits
            assert (apart <= np.maximum(DECIBANS, 1e-14 / sure[clear])).all(), case.request
            worst = max(worst, float(apart[sure[clear] > PROBABILITY].max()))
            compared += int(clear.sum())
    figure(f"{compared} weights of evidence, at most {worst:.1e} decibans apart")


def answers_apart(diagnoser: Diagnoser, cases: list[Drawn]) -> tuple[float, int]:
    """Return how far published probabilities are from exact ones, and how many rules touched.

    What the rules did (shares, shifts, causes dropped) is put into the network. Of those that are
    listed: one that is not hangs on how they all fit, which no network says.
    """
    worst, touched = 0.0, 0
    for case in cases:
        asked = {**case.request, "limit": 0, "evidence": "leading", "on_hand": []}
        answer = diagnoser.diagnose(asked)
        view = case_view(read_request(case.request, diagnoser.knowledge), case.corrected)
        firings = diagnoser.rule_sets["qualify"].run(view)
        effects = effects_of(diagnoser.knowledge, view, firings)
        shares = [effects.shares.get(one.finding.index, 1.0) for one in case.corrected]
        weighed = replace(
            case, shares=tuple(shares), shifts=effects.shifts, at_times=effects.at_times,
            dropped=(*effects.dropped_causes, NOT_LISTED),
        )  # fmt: skip
        exact = weighed.network().causes(weighed.factors())
        told = {one["id"]: one["probability"] for one in answer["causes"]}
        listed = 1.0 - told[NOT_LISTED]
        apart = [
            abs(told[name] - listed * exact[n])
            for n, name in enumerate(case.model.causes)
            if name != NOT_LISTED
        ]
        worst, touched = max(worst, *apart), touched + bool(effects.shares or effects.shifts)
    return worst, touched


def test_answers_of_whole_requests(
    diagnoser: Diagnoser, cases: list[Drawn], figure: Figure
) -> None:
    """The published probabilities, told to six digits, are those of exact inference."""
    known = [one for one in cases if one.model.machine.control != "unknown"][::2]
    worst, touched = answers_apart(diagnoser, known)
    assert worst <= ROUNDED
    assert touched > len(known) // 5
    figure(f"{len(known)} whole answers, rules at work in {touched}: at most {worst:.1e} apart")


def test_answers_with_the_control_unknown(
    diagnoser: Diagnoser, cases: list[Drawn], figure: Figure
) -> None:
    """The same holds where the control type is not known and both circuits are weighed."""
    unknown = [one for one in cases if one.model.machine.control == "unknown"][::2]
    worst, _ = answers_apart(diagnoser, unknown)
    assert worst <= ROUNDED
    figure(f"{len(unknown)} whole answers at most {worst:.1e} apart")
