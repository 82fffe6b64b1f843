"""Which check to do next: the one expected to save the most minutes to the confirmed fix.

Repairs are tried in the order of probability over minutes, each until the fault is gone
(Heckerman, Breese and Rommelse 1995; Kalagnanam and Henrion 1988). A check is worth its minutes
when the repair that follows it, averaged over its results, is expected to take that much less.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from engine.circuit import Floats
from engine.knowledge import Knowledge
from engine.model import Model

MIN_SAVING = 0.5  # minutes; less is not worth a question


def repair_minutes(chances: Floats, minutes: Floats) -> Floats:
    """Return expected minutes to the fix when repairs are tried in the best order.

    ``chances`` of causes, shape (..., causes), summing to 1; ``minutes`` of their repairs. A repair
    is paid for when those before it did not cure the fault.
    """
    order = np.argsort(-(chances / minutes), axis=-1, kind="stable")
    ranked = np.take_along_axis(chances, order, axis=-1)
    cost = minutes[order]
    before = np.concatenate(
        [np.zeros_like(ranked[..., :1]), np.cumsum(ranked, axis=-1)[..., :-1]], axis=-1
    )
    total: Floats = (cost * np.clip(1.0 - before, 0.0, None)).sum(axis=-1)
    return total


def repair_order(chances: Floats, minutes: Floats) -> list[int]:
    """Return the causes in the best order of trying their repairs."""
    return [int(n) for n in np.argsort(-(chances / minutes), kind="stable")]


@dataclass(frozen=True)
class Proposal:
    """A check and the minutes that it is expected to save."""

    check: str
    saves_minutes: float


class Adviser:
    """Proposes checks for a model. What does not change between requests is kept."""

    def __init__(self, knowledge: Knowledge, model: Model, context: Mapping[str, Floats]) -> None:
        """Prepare the joint tables; ``context`` are the bins of checks that only rules weigh."""
        self._checks = knowledge.checks
        self._model = model
        self.minutes = np.array([knowledge.causes[name].minutes for name in model.causes])
        self._names = [name for name in model.predictions if name in knowledge.checks]
        bins = [
            context[name] if name in context else model.predictions[name].bins
            for name in self._names
        ]
        self._starts = np.cumsum([0] + [one.shape[1] for one in bins])
        # (hypothesis, all bins of all checks): joint tables are one product away
        self._bins = np.concatenate(bins, axis=1) if bins else np.zeros((0, 0))

    def expected_minutes(self, causes: Floats) -> float:
        """Return the minutes to the fix when repair starts now."""
        return float(repair_minutes(causes, self.minutes))

    def proposals(
        self, hypotheses: Floats, causes: Floats, left_out: frozenset[str],
        kinds: Sequence[str] | None,
    ) -> list[Proposal]:  # fmt: skip
        """Return all checks that can be done, the best first; some may save less than nothing."""
        chosen = [
            place for place, name in enumerate(self._names)
            if name not in left_out and (kinds is None or self._checks[name].kind in kinds)
        ]  # fmt: skip
        if not chosen:
            return []
        now = self.expected_minutes(causes)
        after = self._after(hypotheses)
        found = []
        for place in chosen:
            name = self._names[place]
            saving = now - float(after[place]) - self._checks[name].minutes
            found.append(Proposal(name, saving))
        return sorted(found, key=lambda one: (-round(one.saves_minutes, 6), one.check))

    def _after(self, hypotheses: Floats) -> Floats:
        """Return the expected minutes of repair after each check, over its results."""
        # sum over the hypotheses of each cause: (cause, bin) of joint chances
        joint = self._model.membership.T @ (self._bins * hypotheses[:, None])
        chance = joint.sum(axis=0)
        belief = (joint / np.maximum(chance, 1e-300)).T
        cost = chance * repair_minutes(belief, self.minutes)
        total: Floats = np.add.reduceat(cost, self._starts[:-1])
        return total
