"""The exact optimum of small troubleshooting problems, to hold the bounded planner against."""

from collections.abc import Sequence

import numpy as np

from engine.physics.circuit import Floats
from engine.reasoning.planning import TINY, Problem


class Identify(Problem):
    """A problem whose aim is to know the cause: it cannot be stopped before that is so."""

    def stop(self, weights: Floats) -> Floats:
        """Return nothing where one cause alone is left, else an infinite cost."""
        causes = weights @ self.membership
        total = causes.sum(axis=-1)
        known = causes.max(axis=-1) >= total * (1 - 1e-9)
        return np.where(known | (total <= TINY), 0.0, np.inf)


class ExactTooLargeError(Exception):
    """The problem has more states than the exact planner may visit."""


class Exact:
    """The best plan by dynamic programming over the results so far, repairs in between allowed.

    For small problems and for measuring how far the bounded planner is from the optimum.
    """

    def __init__(self, problem: Problem, max_states: int = 400_000, repairs: bool = True) -> None:
        self._problem, self._max, self._repairs = problem, max_states, repairs
        self._known: dict[tuple[frozenset[tuple[int, int]], frozenset[int]], float] = {}

    def cost(self, weights: Floats, checks: Sequence[int]) -> float:
        """Return the least expected cost. Raises ExactTooLargeError past the state limit."""
        total = float(weights.sum())
        return self._cost(weights, frozenset(checks), frozenset(), frozenset()) / total

    def first(self, weights: Floats, checks: Sequence[int]) -> dict[int, float]:
        """Return the least expected cost of the plans that start with each check."""
        total = float(weights.sum())
        return {
            check: self._after(weights, check, frozenset(checks), frozenset(), frozenset()) / total
            for check in checks
        }

    def _cost(
        self, weights: Floats, left: frozenset[int], seen: frozenset[tuple[int, int]],
        tried: frozenset[int],
    ) -> float:  # fmt: skip
        key = (seen, tried)
        if key in self._known:
            return self._known[key]
        if len(self._known) >= self._max:
            raise ExactTooLargeError(f"more than {self._max} states")
        best = float(self._problem.stop(weights))
        if best > 0:
            for check in sorted(left):
                best = min(best, self._after(weights, check, left, seen, tried))
            if self._repairs and not isinstance(self._problem, Identify):
                best = min(best, self._repair(weights, left, seen, tried))
        self._known[key] = best
        return best

    def _after(
        self, weights: Floats, check: int, left: frozenset[int], seen: frozenset[tuple[int, int]],
        tried: frozenset[int],
    ) -> float:  # fmt: skip
        cost = float(weights.sum() * self._problem.check_minutes[check])
        for result, part in enumerate(self._problem.split(weights, check)):
            if part.sum() > TINY:
                cost += self._cost(part, left - {check}, seen | {(check, result)}, tried)
        return cost

    def _repair(
        self, weights: Floats, left: frozenset[int], seen: frozenset[tuple[int, int]],
        tried: frozenset[int],
    ) -> float:  # fmt: skip
        """Return the least cost of the plans that try one repair now and go on if it fails."""
        best = np.inf
        for cause in range(self._problem.membership.shape[1]):
            mine = self._problem.membership[:, cause] > 0
            if cause in tried or weights[mine].sum() <= TINY:
                continue
            rest = np.where(mine, 0.0, weights)
            paid = float(weights.sum() * self._problem.repair_minutes[cause])
            paid += float(rest.sum()) * self._problem.wrong_repair
            if rest.sum() <= TINY:
                best = min(best, paid)
            elif paid < best:
                best = min(best, paid + self._cost(rest, left, seen, tried | {cause}))
        return float(best)
