"""Belief: prior times how well each hypothesis predicted the findings, and what each was worth."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from engine.physics.circuit import Floats
from engine.physics.model import Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.effects import Effects, shares_of
from engine.reasoning.observe import Observation
from engine.reasoning.request import NOT_KNOWN, OPEN, Finding

MAX_DECIBANS = 200.0
GROUP_DECIBANS = 1.5  # findings that weigh two causes less apart than this do not separate them
TINY = 1e-300


@dataclass(frozen=True)
class Weighed:
    """A finding as it enters the sum: how well each hypothesis predicted it, and how surely."""

    finding: Finding
    log_likelihood: Floats
    surprise: Floats  # log of the likelihood over the best that any result could have had


def weigh(observation: Observation) -> Weighed:
    """Return the log-likelihood of a finding under every hypothesis of its prediction."""
    finding, prediction = observation.finding, observation.prediction
    if finding.outcome == NOT_KNOWN:
        nothing = np.zeros(prediction.size)
        return Weighed(finding, nothing, nothing)
    if isinstance(prediction, OutcomePrediction):
        assert finding.outcome is not None
        chance = prediction.likelihood(finding.outcome)
        best = prediction.shares.max(axis=1)
    elif finding.outcome == OPEN:
        chance = prediction.open_share()
        best = np.maximum(chance, 1 - chance)
    else:
        assert observation.value is not None
        chance = prediction.density(observation.value, observation.meter)
        best = prediction.peak(observation.meter)
    logs = np.log(np.maximum(chance, TINY))
    return Weighed(finding, logs, logs - np.log(np.maximum(best, TINY)))


@dataclass(frozen=True)
class Belief:
    """The posterior over hypotheses, from a prior and weighed findings with their shares."""

    model: Model
    log_prior: Floats
    weighed: tuple[Weighed, ...]
    shares: tuple[float, ...]  # 1 counts in full, 0 not at all

    @cached_property
    def _terms(self) -> Floats:
        """Return each finding's contribution, shape (finding, hypothesis)."""
        if not self.weighed:
            return np.zeros((0, len(self.log_prior)))
        logs = np.stack([one.log_likelihood for one in self.weighed])
        terms: Floats = logs * np.array(self.shares)[:, None]
        return terms

    @cached_property
    def log_joint(self) -> Floats:
        """Return log prior plus log-likelihoods, not normalised."""
        total: Floats = self.log_prior + self._terms.sum(axis=0)
        return total

    @cached_property
    def hypotheses(self) -> Floats:
        """Return the posterior of every hypothesis."""
        return normalised(self.log_joint)

    @cached_property
    def causes(self) -> Floats:
        """Return the posterior of every cause."""
        return self.model.by_cause(self.hypotheses)

    @cached_property
    def order(self) -> list[int]:
        """Return the causes, most probable first; equal ones by name."""
        names = self.model.causes
        rounded = np.round(self.causes, 9)
        return sorted(range(len(names)), key=lambda c: (-rounded[c], names[c]))

    @cached_property
    def decibans(self) -> Floats:
        """Return the weight of evidence of each finding for each cause, in decibans.

        10 log10 of odds(cause | all) over odds(cause | all but the finding) (I. J. Good); it does
        not depend on the order of the findings. Shape (finding, cause).
        """
        without = np.stack(
            [self.model.by_cause(normalised(self.log_joint - term)) for term in self._terms]
        ) if len(self.weighed) else np.zeros((0, len(self.causes)))  # fmt: skip
        return np.clip(10 * (_log10_odds(self.causes) - _log10_odds(without)),
                       -MAX_DECIBANS, MAX_DECIBANS)  # fmt: skip

    @cached_property
    def cause_log_likelihoods(self) -> Floats:
        """Return log P(finding | cause) of each finding, in natural logs, (finding, cause)."""
        prior = normalised(self.log_prior)
        mass = self.model.by_cause(prior)
        rows = []
        for term in self._terms:
            top = float(term.max())
            share = self.model.by_cause(prior * np.exp(term - top))
            rows.append(np.log(np.maximum(share, TINY) / np.maximum(mass, TINY)) + top)
        return np.stack(rows) if rows else np.zeros((0, len(mass)))

    def groups(self) -> dict[int, int]:
        """Return a group number for each cause, counting from 1 down the ranking.

        Two causes share a group when no finding, and not all of them together, weighs one against
        the other by GROUP_DECIBANS or more.
        """
        logs = self.cause_log_likelihoods * (10 / math.log(10))
        heads: list[int] = []
        found = {}
        for cause in self.order:
            for number, head in enumerate(heads, start=1):
                apart = logs[:, cause] - logs[:, head]
                if not len(apart) or (
                    np.abs(apart).max() < GROUP_DECIBANS and abs(apart.sum()) < GROUP_DECIBANS
                ):
                    found[cause] = number
                    break
            else:
                heads.append(cause)
                found[cause] = len(heads)
        return found


def believe(model: Model, observations: Sequence[Observation], effects: Effects) -> Belief:
    """Return the belief: shifted priors times what each observation says, as far as it counts."""
    return Belief(
        model, log_prior(model, effects.shifts, effects.dropped_causes),
        tuple(weigh(observation) for observation in observations),
        shares_of(effects, [observation.finding for observation in observations]),
    )  # fmt: skip


def normalised(logs: Floats) -> Floats:
    """Return exp(logs) scaled to sum to 1."""
    weights: Floats = np.exp(logs - logs.max())
    scaled: Floats = weights / weights.sum()
    return scaled


def _log10_odds(chances: Floats) -> Floats:
    """Return log10 odds; the others are added up, since 1 - p loses all digits near 1."""
    others = chances @ (1.0 - np.eye(chances.shape[-1]))
    odds: Floats = np.log10(np.maximum(chances, TINY)) - np.log10(np.maximum(others, TINY))
    return odds


def log_prior(model: Model, shifts: Mapping[str, float], dropped: Sequence[str] = ()) -> Floats:
    """Return the log prior with causes shifted by factors and dropped ones removed."""
    factors = np.array([shifts.get(name, 1.0) for name in model.causes])
    for name in dropped:
        if name in model.causes:
            factors[model.causes.index(name)] = 0.0
    weights = model.prior * factors[model.cause_of]
    if not weights.sum() > 0:
        weights = model.prior
    logs: Floats = np.log(np.maximum(weights / weights.sum(), TINY))
    return logs


@dataclass(frozen=True)
class Fit:
    """Whether any single hypothesis predicts the findings well."""

    verdict: str
    disagreeing: tuple[int, ...]


BAD_SURPRISE = math.log(0.02)  # a result fifty times less likely than the likeliest one


def fit_of(belief: Belief) -> Fit:
    """Judge how the most probable hypotheses predict the findings.

    ``strained`` with one finding that even the best explanation hardly predicts, ``poor`` with
    more. The two findings that disagree most are those whose joint chance falls furthest below
    what each alone would give (conflict measure of Jensen and others 1991, from memory).
    """
    used = [n for n, share in enumerate(belief.shares) if share > 0]
    if not used:
        return Fit("good", ())
    best = int(np.argmax(belief.hypotheses))
    bad = [n for n in used if belief.weighed[n].surprise[best] < BAD_SURPRISE]
    verdict = "good" if not bad else "strained" if len(bad) == 1 else "poor"
    if not bad or len(used) < 2:
        return Fit(verdict, tuple(belief.weighed[n].finding.index for n in bad))
    return Fit(verdict, _most_at_odds(belief, used))


def _most_at_odds(belief: Belief, used: Sequence[int]) -> tuple[int, ...]:
    prior = normalised(belief.log_prior)
    chances = np.stack([np.exp(belief.weighed[n].surprise) for n in used])
    alone = np.log(np.maximum(chances @ prior, TINY))
    together = np.log(np.maximum((chances * prior) @ chances.T, TINY))
    conflict = alone[:, None] + alone[None, :] - together
    np.fill_diagonal(conflict, -np.inf)
    first, second = np.unravel_index(int(np.argmax(conflict)), conflict.shape)
    pair = sorted((int(first), int(second)))
    return tuple(belief.weighed[used[n]].finding.index for n in pair)
