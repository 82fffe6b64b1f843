"""Two faults at once, or one wild reading: what to say when no single cause fits.

For the causes that explain some finding well, the circuit is solved with both in it, and the pair
is weighed against every single cause on the same scale. A single cause carries a small flat share
in each likelihood, which is the chance that a reading is simply wrong; so the comparison also
tells a second fault from a reading that ought to be taken again.
"""

import itertools
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from engine.knowledge import Knowledge, items
from engine.physics.circuit import Floats
from engine.physics.hypotheses import Hypothesis, both, make_cases
from engine.physics.model import HEALTHY, NO_REPAIR, Model, combine, solve_hypotheses, split_fuses
from engine.reasoning.belief import (
    BAD_SURPRISE,
    SECOND_FAULT,
    Belief,
    Weighed,
    log_sum,
    weigh,
    weigh_all,
)
from engine.reasoning.observe import Observation

MOST_CAUSES = 11
BY_BELIEF, BY_FINDING = 5, 3
REPORTED = 3
LEAST_SHARE = 0.02


@dataclass(frozen=True)
class Pair:
    """Two causes that together explain the findings ``needed_for``, and a check between them."""

    causes: tuple[str, str]
    names: tuple[str, str]
    probability: float
    needed_for: tuple[int, ...]
    told_apart_by: str | None


@dataclass(frozen=True)
class PairFit:
    """The chance that two faults are there, the pairs, and the findings to take again."""

    chance: float
    pairs: tuple[Pair, ...] = ()
    repeat: tuple[int, ...] = ()


def weigh_pairs(
    knowledge: Knowledge, belief: Belief, observations: Sequence[Observation]
) -> PairFit:
    """Weigh pairs of causes against single ones."""
    chosen = _candidates(belief)
    if len(chosen) < 2:
        return PairFit(0.0)
    asked = dict.fromkeys(one.finding.check for one in observations)
    model, priors = _pair_model(knowledge, belief, chosen, asked)
    weighed = [_weigh(model, one) for one in observations]
    explained = weigh_all(weighed, belief.shares, len(model.hypotheses))
    # the healthy circuit, its fuse whole or not, is there for comparison only
    healthy = model.cause_of == model.causes.index(HEALTHY)
    pair_logs = np.where(healthy, -np.inf, priors + explained.total)
    single = log_sum(belief.log_joint)
    together = log_sum(pair_logs)
    chance = 1.0 / (1.0 + math.exp(min(700.0, float(single - together))))
    ranked = _ranked(model, pair_logs, chance)
    bad = _unexplained(belief)
    if chance < 0.5:
        return PairFit(chance, repeat=tuple(belief.weighed[n].finding.index for n in bad))
    pairs = []
    for name, share, number in ranked[:REPORTED]:
        needed = [n for n in bad if explained.surprises[n, number] >= BAD_SURPRISE]
        pairs.append(_pair(knowledge, belief, name, share, needed))
    return PairFit(chance, tuple(pairs))


def _weigh(model: Model, observation: Observation) -> Weighed:
    """Weigh a finding; one of a check that this variant of the machine lacks says nothing."""
    if observation.finding.check not in model.predictions:
        nothing = np.zeros(len(model.hypotheses))
        return Weighed(observation.finding, nothing, nothing)
    return weigh(replace(observation, prediction=model.prediction(observation.conditions)))


def _candidates(belief: Belief) -> list[int]:
    """Return hypotheses, one a cause: the state that explains most findings, wild ones apart."""
    names = belief.model.causes
    pool = set(belief.order[:BY_BELIEF])
    logs = belief.cause_log_likelihoods
    prior = np.log(np.maximum(belief.model.by_cause(belief.model.prior), 1e-300))
    for row in logs:
        pool |= {int(n) for n in np.argsort(-np.round(row + prior, 9), kind="stable")[:BY_FINDING]}
    # the best that each does for any finding, so that the order of the findings cannot matter
    merit = np.max(logs - logs.max(axis=1, keepdims=True), axis=0) + prior
    ranked = sorted(pool, key=lambda n: (n not in belief.order[:BY_BELIEF], -round(merit[n], 9), n))
    causes = [n for n in ranked if names[n] not in NO_REPAIR]
    explained = sum(
        (np.maximum(surprise, BAD_SURPRISE) * share
         for surprise, share in zip(belief.together.surprises, belief.shares, strict=True)),
        start=np.zeros(len(belief.model.hypotheses)),
    )  # fmt: skip
    here = belief.model.variant_of == _best_variant(belief)
    found = []
    for cause in causes[:MOST_CAUSES]:
        mine = (belief.model.cause_of == cause) & here
        if mine.any():  # a cause that only another control type has cannot be one of the pair
            found.append(int(np.argmax(np.where(mine, explained, -np.inf))))
    return found


def _best_variant(belief: Belief) -> int:
    """Return the place of the variant that the most probable hypothesis belongs to."""
    return int(belief.model.variant_of[belief.best])


def _pair_model(
    knowledge: Knowledge, belief: Belief, chosen: Sequence[int], asked: Collection[str]
) -> tuple[Model, Floats]:
    """Solve the circuit with each pair in it; return the model of the checks and the log priors."""
    source = belief.model
    variant = source.variants[_best_variant(belief)]
    cause_prior = dict(zip(source.causes, source.by_cause(np.exp(belief.log_prior)), strict=True))
    healthy = _closed(next(one for one in source.hypotheses if one.cause == HEALTHY))
    pairs = []
    for first, second in itertools.combinations(chosen, 2):
        one, two = source.hypotheses[first], source.hypotheses[second]
        joined = both(_closed(one), _closed(two))
        weight = cause_prior[one.cause] * cause_prior[two.cause] * SECOND_FAULT
        pairs.append(_weighted(joined, weight))
    split = split_fuses([make_cases([healthy, *pairs], variant)])
    model = combine(knowledge, source.machine, solve_hypotheses(knowledge, split, asked))
    return model, np.log(np.maximum([one.weight for one in model.hypotheses], 1e-300))


def _closed(hypothesis: Hypothesis) -> Hypothesis:
    """Return the hypothesis before any consequence: the pair decides on the fuse itself."""
    return replace(hypothesis, fuse_opened=False)


def _weighted(hypothesis: Hypothesis, weight: float) -> Hypothesis:
    return replace(hypothesis, weight=weight)


def _ranked(model: Model, logs: Floats, chance: float) -> list[tuple[str, float, int]]:
    """Return pairs with their share of the whole and their best hypothesis, likeliest first."""
    shares = np.exp(logs - log_sum(logs)) * chance
    found: dict[str, tuple[float, int]] = {}
    for number in np.flatnonzero(logs > -np.inf).tolist():
        name, share = model.hypotheses[number].cause, shares[number]
        before, best = found.get(name, (0.0, number))
        if share > shares[best]:
            best = number
        found[name] = (before + float(share), best)
    ranked = sorted(found.items(), key=lambda one: (-round(one[1][0], 9), one[0]))
    return [(name, share, number) for name, (share, number) in ranked if share > LEAST_SHARE]


def _unexplained(belief: Belief) -> list[int]:
    """Return the rows of findings that the best single explanation hardly predicts."""
    best = belief.best
    return [
        n for n in range(len(belief.weighed))
        if belief.shares[n] > 0 and belief.together.surprises[n, best] < BAD_SURPRISE
    ]  # fmt: skip


def _pair(
    knowledge: Knowledge, belief: Belief, name: str, share: float, needed: Sequence[int]
) -> Pair:
    """Return what to say of a pair; ``needed`` are the rows that it explains and no one does."""
    first, second = name.split("+")
    return Pair(
        (first, second), (knowledge.causes[first].name, knowledge.causes[second].name),
        round(share, 6), tuple(belief.weighed[n].finding.index for n in needed),
        _separator(
            belief.model, first, second, {one.finding.check for one in belief.weighed}
        ),
    )  # fmt: skip


def _separator(model: Model, first: str, second: str, answered: Collection[str]) -> str | None:
    """Return the check, not done yet, whose results differ most between the two causes alone."""
    best, least = None, 0.98
    for check, prediction in model.predictions.items():
        usual = model.knowledge.checks[check].kind in items.USUAL_KINDS
        if check in answered or not usual:
            continue
        rows = [
            (model.prior * (model.cause_of == model.causes.index(cause))) @ prediction.bins
            for cause in (first, second)
        ]
        one, two = (row / max(row.sum(), 1e-300) for row in rows)
        overlap = float(np.sqrt(one * two).sum())  # Bhattacharyya coefficient
        if overlap < least - 1e-9:
            best, least = check, overlap
    return best
