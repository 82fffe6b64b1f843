"""Sums over the rows of a replay, kept while they pass: nothing grows with their number."""

import math
from collections import Counter
from dataclasses import dataclass, field

from api.cases.replay.rescore import Row, View
from api.strict_json import Json

# The least probability that a score takes: an answer rounds to six places, and one case that a
# base holds to be impossible must not outweigh all the others.
FLOOR = 1e-6


@dataclass
class Side:
    """How often the confirmed cause came first or among three, and what the answers were worth."""

    first: int = 0
    first_three: int = 0
    bits: float = 0.0

    def add(self, view: View) -> None:
        """Count one answer."""
        rank = view.rank
        self.first += rank == 1
        self.first_three += rank is not None and rank <= 3


@dataclass
class Totals:
    """The totals of a replay."""

    changes: Counter[str] = field(default_factory=Counter)
    before: Side = field(default_factory=Side)
    after: Side = field(default_factory=Side)
    with_score: int = 0  # cases whose confirmed cause has a probability on both sides
    left_out: int = 0  # cases with something that the present base does not take

    def add(self, row: Row) -> None:
        """Count one row."""
        self.changes[row.change] += 1
        self.left_out += bool(row.left_out)
        if row.change == "not-scored":
            return
        self.before.add(row.before)
        self.after.add(row.after)
        first, second = row.before.probability, row.after.probability
        if first is not None and second is not None:
            self.with_score += 1
            self.before.bits += _bits(first)
            self.after.bits += _bits(second)

    def document(self) -> Json:
        """Return the totals as plain data.

        ``log_score`` is the mean of log2 of the confirmed cause's probability: 0 is best, and one
        less means half the probability. A case keeps five causes, so it is over those cases in
        which the confirmed one was among them.
        """
        scored = sum(self.changes.values()) - self.changes["not-scored"]
        return {
            "cases": sum(self.changes.values()),
            "scored": scored,
            **{name: self.changes[name] for name in ("better", "worse", "same")},
            "not_scored": self.changes["not-scored"],
            "left_out": self.left_out,
            "with_log_score": self.with_score,
            "before": self._side(self.before),
            "after": self._side(self.after),
        }

    def _side(self, side: Side) -> Json:
        score = round(side.bits / self.with_score, 4) if self.with_score else None
        return {"first": side.first, "first_three": side.first_three, "log_score": score}


def _bits(probability: float) -> float:
    return math.log2(max(probability, FLOOR))
