"""Belief: prior times how well each hypothesis predicted the findings, and what each was worth."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln

from engine.knowledge.items import READ_KINDS
from engine.physics.circuit import Floats
from engine.physics.model import Model
from engine.physics.prediction import (
    ALL,
    FALSE_OPEN,
    FLAT_SHARE,
    Forecast,
    Instrument,
    OutcomePrediction,
    ReadingPrediction,
    Rows,
    forecasts_around,
    own_and_shared,
)
from engine.reasoning.effects import Effects, shares_of
from engine.reasoning.joint import Given, Joint, Mask, Readings, given, weigh_together
from engine.reasoning.observe import Observation
from engine.reasoning.request import NOT_KNOWN, OPEN, Finding

Beta = tuple[tuple[float, float], tuple[float, float]]  # of surprising ohms, of other surprises
MAX_DECIBANS = 200.0
GROUP_DECIBANS = 1.5  # findings that weigh two causes less apart than this do not separate them
TINY = 1e-300
BAD_SURPRISE = math.log(0.02)  # a result fifty times less likely than the likeliest one
NEAR = 0.9  # of faults not listed: how many look like a listed one, but that more surprises
# What share of the findings surprises is itself unknown, Beta beforehand: of one fault in the list,
# of two at once, of one not in the list. Ohms are read on a dead circuit, with no moment to miss:
# there a surprise is seldom a slip. Counted on simulated machines (api/docs/measured.md).
ONE_FAULT: Beta = ((0.5, 32), (2, 160))
TWO_FAULTS: Beta = ((1, 10), (3, 90))
UNLISTED: Beta = ((2, 14), (1.2, 36))
SECOND_FAULT = 0.05  # judgement: how often a machine that is called in has a second, unrelated one
LEAST_WEIGHT = 2e-4  # hypotheses below this share of the likeliest do not steer the plan


@dataclass(frozen=True)
class Weighed:
    """A finding on its own: how well each hypothesis predicted it, and how surely.

    ``value``, ``meter`` and ``prediction`` are there where it is a number on a meter, which is then
    weighed together with the others.
    """

    finding: Finding
    log_likelihood: Floats
    surprise: Floats  # log of the likelihood over the best that any result could have had
    value: float | None = None
    meter: Instrument | None = None
    prediction: ReadingPrediction | None = None
    alone: Mask | None = None  # hypotheses under which a number is not weighed with the others
    rows: NDArray[np.intp] | None = None  # those that predict it, where other than each its own
    extra: Floats | float = 0.0  # on top of a number's density among the others

    @property
    def counted(self) -> Mask:
        """Return the hypotheses under which a number is weighed together with the others."""
        assert self.prediction is not None
        counted = ~self.prediction.open & ~self.prediction.flat
        counted = counted if self.rows is None else counted[self.rows]
        return counted if self.alone is None else counted & ~self.alone

    @property
    def beside(self) -> Floats | float:
        """Return what a number says beside its density among the others, as a log."""
        ohms = self.prediction is not None and self.prediction.unit == "ohm"
        return self.extra + (math.log1p(-FALSE_OPEN) if ohms else 0.0)

    @property
    def place(self) -> tuple[str, float, str]:
        """Return what orders findings wherever they are summed, however they were told."""
        return self.finding.check, self.value or 0.0, self.finding.stated


def weigh(observation: Observation) -> Weighed:
    """Return the log-likelihood of a finding under every hypothesis of its prediction."""
    finding, prediction = observation.finding, observation.prediction
    value, meter = observation.value, observation.meter
    number: ReadingPrediction | None = None
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
        assert value is not None
        number = prediction
        chance, best = prediction.density(value, meter), prediction.peak(meter)
    logs = np.log(np.maximum(chance, TINY))
    surprise = logs - np.log(np.maximum(best, TINY))
    return Weighed(finding, logs, surprise, value, meter, number)


def blend(model: Model, weighed: Weighed) -> Weighed:
    """Return a finding with what a fault that is not in the list says of it filled in."""
    chances = np.exp(weighed.log_likelihood - weighed.log_likelihood.max())
    logs = np.log(np.maximum(model.blended(chances), TINY)) + weighed.log_likelihood.max()
    return replace(weighed, log_likelihood=logs, alone=model.unlisted)


@dataclass(frozen=True)
class Together:
    """All findings weighed together.

    ``terms`` (finding, hypothesis) is the log-likelihood of each finding given the others,
    ``total`` (hypothesis,) that of all of them: their sum only where they share nothing.
    """

    total: Floats
    terms: Floats
    surprises: Floats


def weigh_all(weighed: Sequence[Weighed], shares: Sequence[float], hypotheses: int) -> Together:
    """Weigh findings together, each with its share: those that do not count in full stand alone."""
    alone = np.zeros((len(weighed), hypotheses))
    surprises = alone.copy()
    for row, (one, share) in enumerate(zip(weighed, shares, strict=True)):
        alone[row], surprises[row] = one.log_likelihood * share, one.surprise
    order = sorted(range(len(weighed)), key=lambda n: weighed[n].place)
    rows = [n for n in order if weighed[n].prediction is not None and shares[n] == 1.0]
    quantities = _quantities([weighed[n] for n in rows])
    readings = _readings([weighed[n] for n in rows], quantities, hypotheses)
    joint = weigh_together(readings.compact)
    terms = alone.copy()
    for column, row in enumerate(rows):
        counted, beside = weighed[row].counted, weighed[row].beside
        alone[row] = np.where(counted, beside, alone[row])
        terms[row] = np.where(counted, beside + joint.left_out[:, column], terms[row])
        surprise = joint.left_out[:, column] - joint.peak[:, column]
        surprises[row] = np.where(counted, surprise, surprises[row])
    return Together(alone[order].sum(axis=0) + joint.log_likelihood, terms, surprises)


def _stacked(always: Weighed, passing: Weighed, able: NDArray[np.intp]) -> Weighed:
    """Return a finding under every hypothesis, and behind them once more under those ``able`` to
    come and go, where the fault may have been away."""
    every = np.arange(len(always.log_likelihood))

    def both(one: Any, other: Any) -> NDArray[Any]:
        whole = [np.broadcast_to(part, every.shape) for part in (one, other)]
        return np.concatenate([whole[0], whole[1][able]])

    return replace(
        always, log_likelihood=both(always.log_likelihood, passing.log_likelihood),
        surprise=both(always.surprise, passing.surprise), alone=both(always.alone, passing.alone),
        rows=both(*(every if one.rows is None else one.rows for one in (always, passing))),
        extra=both(always.extra, passing.extra),
    )  # fmt: skip


def share_at_times(model: Model, odds: float) -> Floats:
    """Return how often each hypothesis is of a fault that is there at times only.

    ``odds`` is what the case says of it: the odds of each cause are multiplied by it.
    """
    share = model.comes_and_goes
    found: Floats = share * odds / (1.0 - share + share * odds)
    return found


def away_chance(model: Model, check: str, provoked: bool = False) -> Floats:
    """Return how often a fault that comes and goes is away as a check is done, by hypothesis.

    Who is asked tells of the failing; who measures finds it as it happens to be.
    """

    def by_cause() -> Floats:
        kind = "provoked" if provoked else model.knowledge.checks[check].kind
        rows = model.knowledge.rows("come-and-go")
        away = 1.0 - float((rows.get(kind) or rows["found"])["share"])
        return np.where(model.stays_seen(check), 0.0, away)

    return model.kept((away_chance, check, provoked), by_cause)[model.cause_of]


def while_away(model: Model, one: Weighed) -> Weighed:
    """Return a finding weighed where the fault may have been away, as on the good circuit.

    A number is read of whichever of the two fits better, so that it still shares with others what
    it shares; what the other would add is added.
    """
    if one.finding.outcome == NOT_KNOWN:
        return one
    away = away_chance(model, one.finding.check, one.finding.provoked is not None)
    here, good = one.log_likelihood, one.log_likelihood[model.good]
    with np.errstate(divide="ignore"):
        logs = np.logaddexp(np.log1p(-away) + here, np.log(away) + good)
    rows = np.where((good > here) & (away > 0), model.good, np.arange(len(here)))
    return replace(
        one, log_likelihood=logs, surprise=one.surprise[rows], rows=rows,
        extra=logs - one.log_likelihood[rows],
    )  # fmt: skip


def chance_at_times(always: Together, sometimes: Together, share: Floats | float) -> Floats:
    """Return the chance of each hypothesis that its fault is there at times only."""
    with np.errstate(divide="ignore", over="ignore"):
        odds = np.log(share) - np.log1p(-share) + sometimes.total - always.total
        chance: Floats = 1.0 / (1.0 + np.exp(-odds))
    return chance


def mixed(always: Together, sometimes: Together, share: Floats | float) -> Together:
    """Return findings weighed together where a fault is there at times in a share of the cases."""
    with np.errstate(divide="ignore"):
        yes, no = np.log(share), np.log1p(-share)
    total = np.logaddexp(no + always.total, yes + sometimes.total)
    without = np.logaddexp(
        no + always.total - always.terms, yes + sometimes.total - sometimes.terms
    )
    likelier = yes + sometimes.total > no + always.total
    surprises = np.where(likelier, sometimes.surprises, always.surprises)
    return Together(total, total - without, surprises)


def like_listed(
    model: Model, log_prior: Floats, found: Together, used: Sequence[int], checks: Sequence[str]
) -> Together:
    """Return findings weighed together where a fault that is not listed may look like a listed one.

    NEAR of such faults give what a listed hypothesis gives, but that more of the findings surprise
    (``_more_surprises``). ``used`` are the findings that count, ``checks`` those of all findings.
    """
    rows = model.unlisted
    if not used or not rows.any() or rows.all():
        return found
    listed = np.where(rows, -np.inf, log_prior + found.total)
    listed -= log_sum(np.where(rows, -np.inf, log_prior))
    readings = [model.knowledge.checks[name].reading for name in checks]
    ohms = [one is not None and one.unit == "ohm" for one in readings]
    kinds = [[n for n in used if ohms[n]], [n for n in used if not ohms[n]]]
    odd = [(found.surprises[mine] < BAD_SURPRISE).astype(np.intp) for mine in kinds]
    counts, many = [len(one) for one in odd], [one.sum(axis=0) for one in odd]
    near = log_sum(listed + _more_surprises(*counts)[many[0], many[1]])
    without = np.full(len(found.terms), near)
    for n, mine in enumerate(kinds):
        if mine:
            fewer = _more_surprises(counts[0] - (n == 0), counts[1] - (n == 1))
            left = [one - odd[n] if n == place else one for place, one in enumerate(many)]
            without[mine] = log_sum(listed - found.terms[mine] + fewer[left[0], left[1]])
    far, yes = math.log1p(-NEAR) + found.total[rows], math.log(NEAR)
    total, terms = found.total.copy(), found.terms.copy()
    total[rows] = np.logaddexp(far, yes + near)
    terms[:, rows] = total[rows] - np.logaddexp(
        far - found.terms[:, rows], yes + without[:, None]
    )  # fmt: skip
    return Together(total, terms, found.surprises)


@lru_cache(maxsize=512)
def _more_surprises(ohms: int, others: int) -> Floats:
    """Return the log of how much likelier surprises are of a fault not listed than of listed ones.

    Of which there may be two. ``ohms`` and ``others`` are how many findings there are of each kind,
    the axes of what is returned how many of them surprise.
    """

    def log_share(of: Beta) -> Floats:
        by_kind = []
        for count, (odd, fits) in zip((ohms, others), of, strict=True):
            some = np.arange(count + 1)
            by_kind.append(betaln(some + odd, count - some + fits) - betaln(odd, fits))
        both: Floats = np.add.outer(*by_kind)
        return both

    one, two = math.log1p(-SECOND_FAULT), math.log(SECOND_FAULT)
    likelier: Floats = log_share(UNLISTED) - np.logaddexp(
        one + log_share(ONE_FAULT), two + log_share(TWO_FAULTS)
    )
    return likelier


def _quantities(readings: Sequence[Weighed], least: int = 2) -> tuple[str, ...]:
    """Return the names of what two (``least``) or more of the readings share.

    What only one of them owes to a quantity is its own variance: nothing else tells of it.
    """
    seen = Counter(
        name for one in readings if one.prediction is not None
        for name in (*one.prediction.loadings.quantities, one.prediction.gain)
    )  # fmt: skip
    return tuple(sorted(name for name, times in seen.items() if times >= least))


def _readings(
    found: Sequence[Weighed], quantities: Sequence[str], hypotheses: int, rows: Rows = ALL
) -> Readings:
    """Return the readings as arrays (hypothesis, reading), the loadings (.., quantity).

    ``rows`` are the hypotheses wanted, and ``hypotheses`` how many.
    """
    shape = (hypotheses, len(found))
    predictions = [one.prediction for one in found if one.prediction is not None]
    if not predictions:
        return Readings(np.zeros(shape), np.zeros((*shape, len(quantities))), np.ones(shape),
                        np.ones(shape), np.zeros(shape, dtype=bool), FLAT_SHARE)  # fmt: skip
    by = [rows if one.rows is None else one.rows[rows] for one in found]
    own, loadings = own_and_shared(predictions, quantities, by, [one.meter for one in found])
    pairs = list(zip(predictions, found, by, strict=True))
    return Readings(
        np.stack([one.scale.of(at.value) - one.middle[row] for one, at, row in pairs], axis=1),
        loadings, own, np.array([[1.0 / one.width for one in predictions]]).repeat(hypotheses, 0),
        np.stack([one.counted[rows] for one in found], axis=1), FLAT_SHARE,
    )  # fmt: skip


@dataclass(frozen=True)
class Away:
    """Where each hypothesis kept has its good circuit, and its chance to be there at times only."""

    good: NDArray[np.intp]
    at_times: Floats
    provoked: bool = False  # readings to come are taken while it is brought on


NO_EDGES = np.zeros(0)  # of a check with outcomes


@dataclass(frozen=True)
class Known:
    """What was read so far, for predicting the next check.

    Of the hypotheses that still matter alone: ``rows``, by cause, with ``weights`` that sum to 1.
    Chances of results lie in memory result by result: so those of checks are put together.
    """

    model: Model
    rows: NDArray[np.intp]
    weights: Floats
    quantities: tuple[str, ...]
    joint: Joint | Given
    near: float = 0.0  # chance that a fault not listed is one that looks like a listed one
    away: Away | None = None  # where the fault may come and go
    _forecasts: dict[str, Forecast] = field(default_factory=dict, repr=False)

    def forecasts(self, checks: Sequence[str]) -> list[Forecast]:
        """Return the results of checks under the hypotheses kept, given what was read."""
        new = [name for name in dict.fromkeys(checks) if name not in self._forecasts]
        if new:
            self._forecasts.update(self._given(new))
        return [self._forecasts[name] for name in checks]

    def _given(self, checks: Sequence[str]) -> Mapping[str, Forecast]:
        sharing = [name for name in checks if self._shares_with_what_was_read(name)]
        others = [name for name in checks if name not in sharing]
        found = [self._as_before(name) for name in others]
        chances = [np.concatenate([one.bins.T for one in found])[:, self.rows]] if found else []
        if sharing:
            given = self._given_readings(sharing)
            chances, found = [*chances, *(one.bins.T for one in given)], [*found, *given]
        ends = np.cumsum([one.bins.shape[1] for one in found])
        names = [*others, *sharing]
        results = self.model.blended(np.concatenate(chances).T, self.rows).T
        results = self._like_listed(self._or_good(names, results, np.diff(ends, prepend=0)))
        parts = np.split(results, ends[:-1])
        made = [Forecast(part.T, one.edges) for part, one in zip(parts, found, strict=True)]
        return dict(zip(names, made, strict=True))

    def _like_listed(self, results: Floats) -> Floats:
        """Return chances of results (result, hypothesis); a fault not listed goes on as it did.

        What looked like a listed cause so far gives what that will give: no check of such causes
        clears it.
        """
        rows = self.model.unlisted[self.rows]
        if not self.near or not rows.any() or rows.all():
            return results
        listed = np.where(rows, 0.0, self.weights)
        expected = results @ listed / listed.sum()
        results[:, rows] += self.near * (expected[:, None] - results[:, rows])
        return results

    def _or_good(self, checks: Sequence[str], results: Floats, sizes: NDArray[np.intp]) -> Floats:
        """Return the chances of checks' results, those while the fault is away among them.

        ``results`` (all results of all checks, hypothesis), each check as many as its size.
        """
        if self.away is None:
            return results
        known, provoked = self.model.knowledge.checks, self.away.provoked
        away = np.stack([
            away_chance(self.model, one, provoked and known[one].kind in READ_KINDS)[self.rows]
            for one in checks
        ])  # fmt: skip
        away *= self.away.at_times
        mixed: Floats = results + np.repeat(away, sizes, 0) * (results[:, self.away.good] - results)
        return mixed

    def _shares_with_what_was_read(self, check: str) -> bool:
        one = self.model.predictions[check]
        return isinstance(one, ReadingPrediction) and bool(
            {*one.loadings.quantities, one.gain} & {*self.quantities}
        )

    def _as_before(self, check: str) -> Forecast:
        """Return the forecast of a check about which the readings say nothing, of all rows."""
        one = self.model.predictions[check]
        return one.forecast if isinstance(one, ReadingPrediction) else Forecast(one.bins, NO_EDGES)

    def _given_readings(self, checks: Sequence[str]) -> list[Forecast]:
        """Return the forecasts of readings that share something with those that were taken."""
        found = [self.model.predictions[name] for name in checks]
        readings = [one for one in found if isinstance(one, ReadingPrediction)]
        rows, many = self.rows, len(readings)
        own, shared = own_and_shared(readings, self.quantities, [rows] * many, [None] * many)
        shift, variance = self.joint.conditional(shared)
        middle = np.stack([one.middle[rows] for one in readings], axis=1) + shift
        return forecasts_around(readings, middle, np.sqrt(own + variance), rows)


@dataclass(frozen=True)
class Belief:
    """The posterior over hypotheses, from a prior and weighed findings with their shares."""

    model: Model
    log_prior: Floats
    weighed: tuple[Weighed, ...]
    shares: tuple[float, ...]  # 1 counts in full, 0 not at all
    passing: tuple[Weighed, ...] = ()  # the findings, each where the fault may have been away
    at_times: Floats | float = 0.0  # how often a hypothesis is of a fault there at times only
    provoked: bool = False  # what brings the fault on is known

    @cached_property
    def together(self) -> Together:
        """Return the findings weighed together, of a fault that is there always or at times.

        Of one that is not in the list as ``like_listed`` has it.
        """
        used = [n for n, share in enumerate(self.shares) if share > 0]
        checks = [one.finding.check for one in self.weighed]
        return like_listed(self.model, self.log_prior, self._as_listed, used, checks)

    @cached_property
    def _as_listed(self) -> Together:
        """Return the findings weighed together, where a fault not listed is like none that is."""
        if not self.passing:
            return self.always
        return mixed(self.always, self.sometimes, self.at_times)

    @property
    def _near(self) -> float:
        """Return the chance that a fault not listed is one that looks like a listed one."""
        rows = self.model.unlisted
        if not rows.any():
            return 0.0
        more = self._as_listed.total[rows] - self.together.total[rows]
        return 1.0 - (1.0 - NEAR) * float(np.exp(more).mean())

    @property
    def always(self) -> Together:
        """Return the findings weighed together where the fault is always there."""
        return self._both[0]

    @property
    def sometimes(self) -> Together:
        """Return the findings weighed together where the fault is there at times only.

        Of hypotheses of which that cannot be it is what they always give: nobody asks.
        """
        return self._both[1]

    @cached_property
    def _both(self) -> tuple[Together, Together]:
        """Return ``always`` and ``sometimes``; most of their cost is in calls, so that they are
        weighed at once."""
        many = len(self.log_prior)
        if not self.passing:
            found = weigh_all(self.weighed, self.shares, many)
            return found, found
        able = np.flatnonzero(self.at_times)
        pairs = zip(self.weighed, self.passing, strict=True)
        stacked = [_stacked(one, other, able) for one, other in pairs]
        found = weigh_all(stacked, self.shares, many + len(able))
        rows = np.arange(many)
        rows[able] = np.arange(many, many + len(able))
        first, second = (
            Together(found.total[at], found.terms[:, at], found.surprises[:, at])
            for at in (np.arange(many), rows)
        )
        return first, second

    @cached_property
    def best(self) -> int:
        """Return the place of the most probable hypothesis that is in the list."""
        return int(np.argmax(np.where(self.model.unlisted, -1.0, self.hypotheses)))

    @cached_property
    def known(self) -> Known:
        """Return what was read, for predicting the next check."""
        keep = self.hypotheses > LEAST_WEIGHT * self.hypotheses.max()
        if self.passing:
            keep[self.model.good[keep]] = True  # what is read while a fault is away
        rows = self.model.rows_by_cause[keep[self.model.rows_by_cause]]
        counted = (
            one for one, share in zip(self.weighed, self.shares, strict=True)
            if one.prediction is not None and share == 1.0
        )  # fmt: skip
        numbers = sorted(counted, key=lambda one: one.place)
        quantities = _quantities(numbers, least=1)
        joint = given(_readings(numbers, quantities, len(rows), rows))
        weights = self.hypotheses[rows]
        known = Known(self.model, rows, weights / weights.sum(), quantities, joint, self._near)
        if not self.passing:
            return known
        place = np.zeros(len(keep), np.intp)
        place[rows] = np.arange(len(rows))
        times = chance_at_times(self.always, self.sometimes, self.at_times)[rows]
        return replace(known, away=Away(place[self.model.good[rows]], times, self.provoked))

    @property
    def _terms(self) -> Floats:
        """Return each finding's contribution given the others, shape (finding, hypothesis)."""
        return self.together.terms

    @cached_property
    def log_joint(self) -> Floats:
        """Return log prior plus log-likelihood, not normalised."""
        joint: Floats = self.log_prior + self.together.total
        return joint

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
        return [int(n) for n in self.model.ranked(self.causes)]

    @cached_property
    def decibans(self) -> Floats:
        """Return the weight of evidence of each finding for each cause, in decibans.

        10 log10 of odds(cause | all) over odds(cause | all but the finding) (I. J. Good); it does
        not depend on the order of the findings. Shape (finding, cause).
        """
        return self._weights(self.causes, self._without)

    def decibans_of(self, causes: Mask) -> Floats:
        """Return the weight of evidence of each finding for some causes as one, (finding,)."""
        parts = np.stack([causes, ~causes], axis=1)
        return self._weights(self.causes @ parts, self._without @ parts)[:, 0]

    @cached_property
    def _without(self) -> Floats:
        """Return the posterior of every cause without each finding, shape (finding, cause)."""
        if not self.weighed:
            return np.zeros((0, len(self.causes)))
        return np.stack(
            [self.model.by_cause(normalised(self.log_joint - term)) for term in self._terms]
        )

    @staticmethod
    def _weights(chances: Floats, without: Floats) -> Floats:
        weights = 10 * (_log10_odds(chances) - _log10_odds(without))
        return np.clip(weights, -MAX_DECIBANS, MAX_DECIBANS)

    @cached_property
    def cause_log_likelihoods(self) -> Floats:
        """Return log P(finding | cause) of each finding, in natural logs, (finding, cause).

        What all of them together say stands in ``cause_log_total``.
        """
        pairs = zip(self.weighed, self.shares, strict=True)
        rows = [self._by_cause(one.log_likelihood * share) for one, share in pairs]
        return np.stack(rows) if rows else np.zeros((0, len(self.model.causes)))

    @cached_property
    def cause_log_total(self) -> Floats:
        """Return log P(all findings | cause), in natural logs, shape (cause,)."""
        return self._by_cause(self.together.total)

    def _by_cause(self, logs: Floats) -> Floats:
        """Return log-likelihoods of hypotheses as those of causes, averaged over the prior."""
        prior, top = normalised(self.log_prior), float(logs.max())
        share = self.model.by_cause(prior * np.exp(logs - top))
        mass = np.maximum(self.model.by_cause(prior), TINY)
        averaged: Floats = np.log(np.maximum(share, TINY) / mass) + top
        return averaged

    def groups(self) -> dict[int, int]:
        """Return a group number for each cause, counting from 1 down the ranking.

        Two causes share a group when no finding, and not all of them together, weighs one against
        the other by GROUP_DECIBANS or more.
        """
        decibans = 10 / math.log(10)
        logs, total = self.cause_log_likelihoods * decibans, self.cause_log_total * decibans
        apart = np.abs(total[:, None] - total) if len(logs) else np.zeros((len(total),) * 2)
        for row in logs:
            np.maximum(apart, np.abs(row[:, None] - row), out=apart)
        alike = (apart < GROUP_DECIBANS).tolist()
        heads: list[int] = []
        found = {}
        for cause in self.order:
            same = (n for n, head in enumerate(heads, start=1) if alike[cause][head])
            number = next(same, 0)
            if not number:
                heads.append(cause)
            found[cause] = number or len(heads)
        return found


def believe(model: Model, observations: Sequence[Observation], effects: Effects) -> Belief:
    """Return the belief: shifted priors times what each observation says, as far as it counts."""
    weighed = [weigh(observation) for observation in observations]
    belief = Belief(
        model, log_prior(model, effects.shifts, effects.dropped_causes),
        tuple(blend(model, one) for one in weighed),
        shares_of(effects, [observation.finding for observation in observations]),
    )  # fmt: skip
    if not effects.at_times:
        return belief
    passing = tuple(blend(model, while_away(model, one)) for one in weighed)
    at_times = share_at_times(model, effects.at_times)
    provoked = effects.provoke is not None
    return replace(belief, passing=passing, at_times=at_times, provoked=provoked)


def normalised(logs: Floats) -> Floats:
    """Return exp(logs) scaled to sum to 1."""
    weights: Floats = np.exp(logs - logs.max())
    scaled: Floats = weights / weights.sum()
    return scaled


def log_sum(logs: Floats) -> Floats:
    """Return the log of the sum of exp(logs) along the last axis; some must be more than -inf.

    scipy's logsumexp asks ten times this in calls, and stands in the way of every diagnosis.
    """
    top = logs.max(axis=-1, keepdims=True)
    total: Floats = top[..., 0] + np.log(np.exp(logs - top).sum(axis=-1))
    return total


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


def fit_of(belief: Belief) -> Fit:
    """Judge how the most probable hypotheses predict the findings.

    ``strained`` with one finding that even the best explanation hardly predicts, ``poor`` with
    more. The two findings that disagree most are those whose joint chance falls furthest below
    what each alone would give (conflict measure of Jensen and others 1991, from memory).
    """
    used = [n for n, share in enumerate(belief.shares) if share > 0]
    if not used:
        return Fit("good", ())
    best = belief.best
    bad = [n for n in used if belief.together.surprises[n, best] < BAD_SURPRISE]
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
