"""What to do next: check or repair, to the fewest expected minutes.

A plan works on weights of hypotheses. Checks split the weights over their results; a repair cures
the causes it is for and leaves the rest; ``stop`` is the cost of the best fixed order of repairs
from here on.

The order of repairs is by probability over minutes (Heckerman, Breese and Rommelse 1995;
Kalagnanam and Henrion 1988), which is optimal when each repair cures one cause and none other.
Looking one check ahead can be beaten (the test-sequencing matrix of Pattipati and Alexandridis
1990), so the planner looks ``depth`` checks ahead. The work is bounded by numbers of nodes, not by
the clock: the same request gets the same answer on any machine.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from engine.physics.circuit import Floats

TINY = 1e-300
WORTH_PAIRS = 20  # rows of causes for each cause from which on pairs are quicker than sorting
QUICK_MINUTES, QUICK_SAVING = 1.0, 0.03  # a question, and the share of the minutes it must save


def repair_minutes(weights: Floats, minutes: Floats, wrong: float = 0.0, axis: int = -1) -> Floats:
    """Return expected minutes to the fix when repairs are tried in the best order.

    ``weights`` of causes along ``axis``; where they do not sum to 1 the minutes come times their
    sum. ``minutes`` of their repairs. A repair is paid for when those before it did not cure the
    fault, and costs ``wrong`` minutes on top when it does not cure it either.

    Of two causes the one whose repair is tried first costs its ``price`` (``minutes + wrong``) if
    the other is the true one. Trying them by weight over price makes that least for each pair at
    once, so the sum over pairs of the lesser of the two needs no order.
    """
    price = minutes + wrong
    ways = np.moveaxis(weights, axis, 0)
    if weights.size < WORTH_PAIRS * len(price) ** 2:
        rows = ways.reshape(len(price), -1).T
        order, _, left = _tried(rows, price)
        total = rows @ minutes + (price[order] * left).sum(axis=1)
        return total.reshape(ways.shape[1:])
    pull = ways.reshape(len(price), -1) / price[:, None]
    total = (minutes * price) @ pull
    for n in range(len(price) - 1):
        total += price[n] * (price[n + 1 :] @ np.minimum(pull[n + 1 :], pull[n]))
    return total.reshape(ways.shape[1:])


def _tried(weights: Floats, price: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Return the best order of repairs, and in it the weights and what is left after each.

    ``weights`` (row, cause).
    """
    order = (-(weights / price)).argsort(axis=1)  # of equals any may come first
    ranked = weights[np.arange(len(weights))[:, None], order]
    left = np.maximum(ranked.sum(axis=1, keepdims=True) - ranked.cumsum(axis=1), 0.0)
    return order, ranked, left


def clock_minutes(weights: Floats, minutes: Floats, wrong: float = 0.0) -> Floats:
    """Return the expected minutes by the clock of the best order, in which ``wrong`` counts.

    ``weights`` of shape (..., causes), as in ``repair_minutes``.
    """
    order, ranked, left = _tried(weights.reshape(-1, len(minutes)), minutes + wrong)
    total: Floats = (minutes[order] * (left + ranked)).sum(axis=1)
    return total.reshape(weights.shape[:-1])


def repair_order(chances: Floats, minutes: Floats, wrong: float = 0.0) -> list[int]:
    """Return the causes in the best order of trying their repairs; ``wrong`` as above."""
    return [int(n) for n in np.argsort(-(chances / (minutes + wrong)), kind="stable")]


@dataclass(frozen=True)
class Problem:
    """A troubleshooting problem.

    ``membership`` (hypothesis, cause) has a 1 where a hypothesis belongs to a cause; every cause
    has at least one, every hypothesis exactly one. ``bins``
    (hypothesis, all results of all checks) how each result is predicted; check k has the columns
    ``starts[k]`` to ``starts[k + 1]``. ``wrong_repair`` is what a repair that does not cure costs
    beside its minutes, in minutes.
    """

    membership: Floats
    bins: Floats
    starts: Sequence[int]
    check_minutes: Floats
    repair_minutes: Floats
    wrong_repair: float = 0.0

    @cached_property
    def _sorted(self) -> tuple[NDArray[np.intp] | slice, list[int], Floats]:
        """Return the hypotheses by cause, where each cause begins and the end, and their results.

        Sums over a cause are then sums over a stretch of (result, hypothesis).
        """
        cause_of = np.argmax(self.membership, axis=1)
        ends = np.bincount(cause_of, minlength=self.membership.shape[1]).cumsum().tolist()
        if (np.diff(cause_of) >= 0).all():
            return slice(None), [0, *ends], self.bins.T
        order = np.argsort(cause_of, kind="stable")
        return order, [0, *ends], self.bins.T[:, order]

    def joint(self, weights: Floats) -> Floats:
        """Return the weight of each cause with each result of all checks, (result, cause)."""
        order, ends, results = self._sorted
        ordered, found = weights[order], np.empty((len(ends) - 1, len(results)))
        for row, (a, b) in zip(found, pairwise(ends), strict=True):
            np.matmul(results[:, a:b], ordered[a:b], out=row)
        return found.T

    def clock(self, joint: Floats) -> Floats:
        """Return the minutes to the fix by the clock when repair starts on rows of causes.

        ``joint`` (result, cause); the repairs are tried in the order of ``stop``, each row's
        minutes times its weight.
        """
        return clock_minutes(joint, self.repair_minutes, self.wrong_repair)

    def by_check(self, results: Floats) -> Floats:
        """Return sums over the results of each check, shape (check, ...)."""
        return np.add.reduceat(results, list(self.starts[:-1]), axis=0)

    def stop(self, weights: Floats) -> Floats:
        """Return the cost of stopping to check, times the weight; shape (...)."""
        return repair_minutes(weights @ self.membership, self.repair_minutes, self.wrong_repair)

    def split(self, weights: Floats, check: int) -> Floats:
        """Return the weights after each result of a check, shape (result, hypothesis)."""
        return self.bins.T[self.starts[check] : self.starts[check + 1]] * weights

    def ahead_of(self, joint: Floats) -> Floats:
        """Return the cost, times the weight, of doing each of all checks and then stopping.

        ``joint`` as the method of that name gives it; returns (check,).
        """
        after = repair_minutes(joint, self.repair_minutes, self.wrong_repair)
        total = joint[: self.starts[1]].sum() if len(self.starts) > 1 else 0.0
        return self.by_check(after) + total * self.check_minutes

    def one_ahead(self, weights: Floats, checks: Sequence[int]) -> Floats:
        """Return the cost, times the weight, of doing each check and then stopping.

        ``weights`` of shape (batch, hypothesis); returns (batch, check).
        """
        order, ends, results = self._sorted
        ordered = weights[:, order]
        ends_of = [(self.starts[check], self.starts[check + 1]) for check in checks]
        results = results[np.concatenate([np.arange(*one) for one in ends_of])]
        by_cause = np.stack([ordered[:, a:b] @ results[:, a:b].T for a, b in pairwise(ends)])
        cost = repair_minutes(by_cause, self.repair_minutes, self.wrong_repair, axis=0)
        starts = np.cumsum([0, *(end - start for start, end in ends_of)])[:-1]
        after = np.add.reduceat(cost, starts, axis=1)
        total = weights.sum(axis=-1)
        return after + total[:, None] * self.check_minutes[list(checks)]


@dataclass(frozen=True)
class Bounds:
    """How much work a plan may take."""

    first: int = 6  # checks that are looked at two deep
    second: int = 14  # checks considered behind each of their results
    results: int = 5  # results of a check that are followed; the rest are taken as if stopped
    repairs: int = 2  # repairs tried on paper before a check
    after_repair: int = 2  # checks looked at two deep behind each of these


# From thorough to plain, for each group of checks. Where much is still possible, looking far ahead
# costs most and decides least; the sizes alone choose, so that the same request gets the same
# answer anywhere. Nothing here depends on how many checks there are.
STEPS = (
    Bounds(first=2, second=2, results=4, repairs=1, after_repair=0),
    Bounds(first=2, second=2, results=3, repairs=1, after_repair=0),
    Bounds(first=1, second=2, results=3, repairs=1, after_repair=0),
    Bounds(first=1, second=1, results=2, repairs=1, after_repair=0),
)
PLAIN = Bounds(first=0, repairs=0)  # one check ahead, and no further
USUAL_GROUPS, USUAL_RESULTS = 7, 6
MOST_WORK = 160_000


def bounds_for(problem: Problem) -> Bounds:
    """Return the most thorough bounds a group within ``MOST_WORK``, by the causes alone."""

    def work(one: Bounds) -> float:
        rows = one.results * USUAL_GROUPS * one.first * (1 + one.repairs)
        return float(rows * USUAL_GROUPS * one.second * USUAL_RESULTS * problem.membership.shape[1])

    return next((one for one in STEPS if work(one) <= MOST_WORK), STEPS[-1])


@dataclass(frozen=True)
class Option:
    """A check and the expected minutes to the end of the plan that starts with it."""

    check: int
    one_ahead: float
    two_ahead: float


@dataclass(frozen=True)
class Ranking:
    """What to do next: the checks, best first, against repairing first; minutes a case."""

    options: list[Option]
    stop: float  # repairs in the best order, no more checks
    repair_now: float  # the best course that starts with a repair

    def worth(self, option: Option) -> float:
        """Return the minutes that a check saves by itself, or by making the best other one better.

        Two steps ahead every check seems to save what the check behind it saves; that must not
        count, or checks that change nothing would be proposed.
        """
        first, second = self._two_best
        best_other = min(self.stop, second if option.one_ahead == first else first)
        return max(self.stop - option.one_ahead, best_other - option.two_ahead)

    @cached_property
    def _two_best(self) -> list[float]:
        """Return the least cost of a check by itself, and the next of any other."""
        return [*sorted(one.one_ahead for one in self.options), math.inf][:2]

    @property
    def best(self) -> float:
        """Return the expected cost of the best plan."""
        return min([self.repair_now, *(one.two_ahead for one in self.options)])


def rank(  # noqa: PLR0913, PLR0917 - what is known of a problem, from one caller
    problem: Problem, weights: Floats, checks: Sequence[int], bounds: Bounds | None = None,
    groups: Sequence[str] = (), ahead: Floats | None = None,
) -> Ranking:  # fmt: skip
    """Return the checks ranked. ``weights`` need not sum to 1; ``ahead`` is what each of the checks
    costs one ahead, times the weight, where that is known.

    With ``groups`` (one for each check of the problem) the bounds hold for each group: the checks
    looked at two deep with some groups at hand are then among those with more groups at hand, so
    that more at hand never makes the best plan worse.
    """
    bounds = bounds or (bounds_for(problem) if groups else Bounds())
    total = max(float(weights.sum()), TINY)
    stop = float(problem.stop(weights))
    if not checks:
        return Ranking([], stop / total, stop / total)
    ahead = problem.ahead_of(problem.joint(weights))[list(checks)] if ahead is None else ahead
    costs = (ahead / total).tolist()
    order = sorted(range(len(checks)), key=lambda n: (round(costs[n], 9), checks[n]))
    ranked = [checks[n] for n in order]
    firsts = _first_of_each(ranked, groups, bounds.first)
    seconds = _first_of_each(ranked, groups, bounds.second)
    repaired, paid = _after_repairs(problem, weights[None, :], bounds)
    moves = [(weights, check) for check in firsts]
    moves += [(row, check) for row in repaired for check in ranked[: bounds.after_repair]]
    deep = _two_ahead(problem, moves, seconds, bounds) if moves else np.zeros(0)
    two = dict(zip(firsts, (deep / total).tolist(), strict=False))
    found = []
    for number in order:
        check, one = checks[number], costs[number]
        found.append(Option(check, one, min(one, two.get(check, one))))
    found.sort(key=lambda one: _place(problem, one, stop / total))
    after = problem.stop(repaired) if len(repaired) else np.zeros(0)
    behind = deep[len(firsts) :]
    if len(behind):
        after = np.minimum(behind.reshape(len(repaired), -1).min(axis=1), after)
    elif len(repaired):
        after = np.minimum(problem.one_ahead(repaired, seconds).min(axis=1), after)
    return Ranking(found, stop / total, min([stop, *(paid + after.ravel()).tolist()]) / total)


def _first_of_each(ranked: Sequence[int], groups: Sequence[str], most: int) -> list[int]:
    """Return the first ``most`` checks of each group; of all of them where there are no groups."""
    if not groups:
        return list(ranked[:most])
    taken: Counter[str] = Counter()
    found = []
    for check in ranked:
        taken[groups[check]] += 1
        if taken[groups[check]] <= most:
            found.append(check)
    return found


def _place(problem: Problem, option: Option, stop: float) -> tuple[bool, float, float, int]:
    """Return where an option stands.

    What costs next to nothing and helps by itself comes before what costs: two steps ahead a free
    question only seems to take the place of a better check.
    """
    quick = problem.check_minutes[option.check] <= QUICK_MINUTES
    useful = stop - option.one_ahead >= QUICK_SAVING * stop
    return (
        not (quick and useful), round(option.two_ahead, 9), round(option.one_ahead, 9),
        option.check,
    )  # fmt: skip


def _two_ahead(
    problem: Problem, moves: Sequence[tuple[Floats, int]], behind: Sequence[int], bounds: Bounds
) -> Floats:
    """Return the cost, times the weight, of each move followed by the best of check or repair.

    A move is a check done on some weights. All results of all moves are looked at together.
    """
    parts = [problem.split(weights, check) for weights, check in moves]
    ends = np.cumsum([len(one) for one in parts])[:-1]
    best = np.split(problem.stop(np.concatenate(parts)), ends)
    places = [np.argsort(-one.sum(axis=1), kind="stable")[: bounds.results] for one in parts]
    batch = np.concatenate([one[follow] for one, follow in zip(parts, places, strict=True)])
    done = np.repeat([check for _, check in moves], [len(one) for one in places])
    ahead = np.minimum(
        _best_ahead(problem, batch, done, behind),
        _repair_then(problem, batch, done, behind, bounds),
    )
    costs, start = [], 0
    for (weights, check), follow, stops in zip(moves, places, best, strict=True):
        stops[follow] = np.minimum(stops[follow], ahead[start : start + len(follow)])
        start += len(follow)
        costs.append(stops.sum() + weights.sum() * problem.check_minutes[check])
    return np.array(costs)


def _best_ahead(
    problem: Problem, weights: Floats, done: NDArray[np.intp], behind: Sequence[int]
) -> Floats:
    """Return the cost of the best check one ahead for each row, its done check left out."""
    costs = problem.one_ahead(weights, behind)
    costs[done[:, None] == np.array(behind)[None, :]] = np.inf
    return costs.min(axis=1)


def _after_repairs(problem: Problem, weights: Floats, bounds: Bounds) -> tuple[Floats, Floats]:
    """Return the weights left after each of the first repairs of the best order, and their price.

    ``weights`` of shape (batch, hypothesis); the rows returned are batch by batch.
    """
    causes = weights @ problem.membership
    price = problem.repair_minutes + problem.wrong_repair
    chosen = np.argsort(-(causes / price), axis=1, kind="stable")[:, : bounds.repairs]
    rest = weights[:, None, :] * (1.0 - problem.membership.T[chosen])
    paid = weights.sum(axis=1)[:, None] * problem.repair_minutes[chosen]
    paid += problem.wrong_repair * rest.sum(axis=2)
    return rest.reshape(-1, weights.shape[1]), paid.ravel()


def _repair_then(
    problem: Problem, weights: Floats, done: NDArray[np.intp], behind: Sequence[int],
    bounds: Bounds,
) -> Floats:  # fmt: skip
    """Return the cost of the best repair for each row, followed by the best of check or stop."""
    rest, paid = _after_repairs(problem, weights, bounds)
    tries = len(rest) // len(weights)
    after = np.minimum(
        problem.stop(rest), _best_ahead(problem, rest, np.repeat(done, tries), behind)
    )
    return (paid + after).reshape(len(weights), tries).min(axis=1)
