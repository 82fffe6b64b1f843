"""Which check to do next on a machine: the planner fed with a model and what checks cost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from engine.knowledge import Knowledge
from engine.physics.circuit import Floats
from engine.physics.model import Model
from engine.reasoning.planning import Problem, minutes_of_order, rank, repair_order
from engine.rules.cautions import check_hazards

MIN_SAVING = 0.5  # minutes; less is not worth a question
LEAST_WEIGHT = 2e-4  # hypotheses below this share of the likeliest do not steer the plan


@dataclass(frozen=True)
class Proposal:
    """A check and the minutes that it is expected to save (engine.reasoning.planning.Plan.worth).

    A wrong repair that it spares counts with what the table ``effort`` sets on one.
    """

    check: str
    saves_minutes: float


@dataclass(frozen=True)
class Situation:
    """What limits the choice: answered or dropped checks, kinds at hand, hazards ruled out."""

    left_out: frozenset[str] = frozenset()
    kinds: Sequence[str] | None = None
    forbidden: frozenset[str] = frozenset()
    excepted: frozenset[str] = frozenset()  # checks that stand although their hazard is ruled out
    reached: frozenset[str] = frozenset()  # setups (places) that are open already


class Adviser:
    """Proposes checks for a model. What does not change between requests is kept."""

    def __init__(self, knowledge: Knowledge, model: Model, context: Mapping[str, Floats]) -> None:
        """Prepare the tables; ``context`` are the bins of checks that only rules weigh."""
        self._checks = knowledge.checks
        self._model = model
        self.minutes = np.array([knowledge.causes[name].minutes for name in model.causes])
        self._names = list(model.predictions)
        bins = [
            context[name] if name in context else model.predictions[name].bins
            for name in self._names
        ]
        self._starts = [int(n) for n in np.cumsum([0, *(one.shape[1] for one in bins)])]
        self._bins = np.concatenate(bins, axis=1)
        effort = knowledge.rows("effort")
        self._hazards = {
            name: check_hazards(self._checks[name], model.variants) for name in self._names
        }
        risks = {name: float(row["minutes"]) for name, row in effort.items()
                 if row["kind"] == "hazard"}  # fmt: skip
        self._setups = {name: float(row["minutes"]) for name, row in effort.items()
                        if row["kind"] == "setup"}  # fmt: skip
        self._wrong = sum(float(row["minutes"]) for row in effort.values()
                          if row["kind"] == "wrong-repair")  # fmt: skip
        self._base = np.array([
            self._checks[name].minutes + sum(risks.get(one, 0.0) for one in self._hazards[name])
            for name in self._names
        ])  # fmt: skip

    def expected_minutes(self, causes: Floats) -> float:
        """Return the minutes to the fix when repair starts now, as a clock would show them."""
        return minutes_of_order(causes, self.minutes, self.repair_order(causes))

    def repair_order(self, causes: Floats) -> list[int]:
        """Return the causes in the best order of trying their repairs."""
        return repair_order(causes, self.minutes, self._wrong)

    def proposals(self, hypotheses: Floats, situation: Situation) -> tuple[list[Proposal], bool]:
        """Return the checks that can be done, best plan first, and whether to repair instead.

        Some checks may save less than nothing.
        """
        chosen = [place for place, name in enumerate(self._names) if self._open(name, situation)]
        if not chosen:
            return [], True
        problem, weights = self._problem(hypotheses, situation)
        plan = rank(problem, weights, chosen)
        found = [Proposal(self._names[one.check], plan.worth(one)) for one in plan.options]
        return found, plan.repair_first

    def _open(self, name: str, situation: Situation) -> bool:
        """Return whether a check may be proposed."""
        kind = self._checks[name].kind
        return (
            name not in situation.left_out
            and (situation.kinds is None or kind in situation.kinds)
            and (name in situation.excepted or not self._hazards[name] & situation.forbidden)
        )

    def _problem(self, hypotheses: Floats, situation: Situation) -> tuple[Problem, Floats]:
        """Return the planning problem of the hypotheses that still matter."""
        keep = hypotheses > LEAST_WEIGHT * hypotheses.max()
        membership = self._model.membership[keep]
        causes = membership.any(axis=0)
        saved = np.array([
            self._setups.get(self._checks[name].setup, 0.0)
            if self._checks[name].setup in situation.reached else 0.0
            for name in self._names
        ])  # fmt: skip
        minutes = np.maximum(self._base - saved, 0.25)
        problem = Problem(
            membership[:, causes], self._bins[keep], self._starts, minutes, self.minutes[causes],
            wrong_repair=self._wrong,
        )  # fmt: skip
        return problem, hypotheses[keep]
