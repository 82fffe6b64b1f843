"""What to do next on a machine: the planner fed with a model and what checks cost."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from threading import Lock

import numpy as np

from engine.knowledge import Knowledge, items
from engine.physics.band import Band, fine_digits, open_band, rounded
from engine.physics.circuit import Floats
from engine.physics.model import NO_REPAIR, Model
from engine.physics.prediction import Forecast, OutcomePrediction, ReadingPrediction
from engine.reasoning.belief import Belief
from engine.reasoning.conclusions import Conclusions
from engine.reasoning.effects import Effects, effects_of
from engine.reasoning.observe import case_view, observe
from engine.reasoning.planning import Problem, minutes_of_order, rank, repair_order
from engine.reasoning.request import LAY, NOT_KNOWN, Finding, Request
from engine.rules.cautions import check_hazards
from engine.rules.compile import RuleSet

MAX_PROPOSALS = 5
MIN_SAVING = 0.5  # minutes; less is not worth a question
LEAST_REPAIR, MOST_REPAIRS = 0.01, 5  # causes whose repair is worth naming, and how many
LEADERS = 3  # causes named for each result of a check
KEPT_ADVISERS = 64


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
    lay: bool = False  # nothing that needs a trained hand


@dataclass(frozen=True)
class Meaning:
    """A result that a check may have: its chance, and the leading causes if it came.

    ``result`` is an outcome or a stretch of readings; ``leaders`` are causes with probabilities.
    """

    result: str | Band
    chance: float
    leaders: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Plan:
    """What to do: check, repair or refer; the checks with what each result would mean.

    ``further`` are the checks if everything were at hand; None where it is.
    """

    action: str
    proposals: tuple[Proposal, ...] = ()
    further: tuple[Proposal, ...] | None = None
    meanings: Mapping[str, tuple[Meaning, ...]] | None = None
    repair_order: tuple[str, ...] = ()
    minutes: float = 0.0  # expected to the fix, if repair starts now


class Adviser:
    """Proposes checks for a model. What does not change between requests is kept."""

    def __init__(self, knowledge: Knowledge, model: Model, context: Mapping[str, Floats]) -> None:
        """Prepare the tables; ``context`` are the bins of checks that only rules weigh."""
        self._checks = knowledge.checks
        self._model = model
        self.minutes = np.array([knowledge.causes[name].minutes for name in model.causes])
        self._names = list(model.predictions)
        self._context = context
        effort = knowledge.rows("effort")
        self._hazards = {
            name: check_hazards(self._checks[name], model.variants) for name in self._names
        }
        self._trained = frozenset(knowledge.rows("trained-hands"))
        risks = {name: float(row["minutes"]) for name, row in effort.items()
                 if row["kind"] == "hazard"}  # fmt: skip
        self._setups = {name: float(row["minutes"]) for name, row in effort.items()
                        if row["kind"] == "setup"}  # fmt: skip
        self._wrong = sum(float(row["minutes"]) for row in effort.values()
                          if row["kind"] == "wrong-repair")  # fmt: skip
        self._base = {
            name: self._checks[name].minutes
            + sum(risks.get(one, 0.0) for one in self._hazards[name])
            for name in self._names
        }

    def plan(
        self, request: Request, belief: Belief, effects: Effects, conclusions: Conclusions
    ) -> Plan:
        """Return what to do next."""
        if effects.out_of_scope is not None:
            return Plan("refer")
        situation = self._situation(request, effects, conclusions)
        proposals, further = self._chosen(belief, situation, conclusions), None
        if situation.kinds is not None:
            further = self._chosen(belief, replace(situation, kinds=None), conclusions)
        return Plan(
            "check" if proposals else "repair", proposals, further,
            {one.check: self.meanings(belief, one.check) for one in (*proposals, *(further or ()))},
            self._repairs(belief), self.expected_minutes(belief.causes),
        )  # fmt: skip

    def _chosen(
        self, belief: Belief, situation: Situation, conclusions: Conclusions
    ) -> tuple[Proposal, ...]:
        """Return the checks worth their minutes, those that rules prefer first."""
        ranked, repair_first = self.proposals(belief, situation)
        worth = [] if repair_first else [one for one in ranked if one.saves_minutes >= MIN_SAVING]
        promoted = _promoted(ranked, worth, conclusions)
        chosen = {one.check: one for one in [*promoted, *worth]}
        return tuple(chosen.values())[:MAX_PROPOSALS]

    def meanings(self, belief: Belief, check: str) -> tuple[Meaning, ...]:
        """Return what each result of a check would mean: neighbours with one leader together.

        Raises KeyError for a check that the machine cannot have.
        """
        forecast = self._forecast(belief, check)
        joint = (forecast.bins * belief.known.weights[:, None]).T
        by_cause = joint @ self._model.membership[belief.known.keep]
        return tuple(
            self._meaning(result, weights)
            for result, weights in _results(self._model, check, forecast, by_cause)
        )

    def _forecast(self, belief: Belief, check: str) -> Forecast:
        """Return the results of a check; what only rules weigh is expected from the context."""
        prediction = self._model.predictions[check]
        if check in self._context:
            return Forecast(self._context[check][belief.known.keep], np.zeros(0))
        return belief.known.forecast(prediction)

    def _meaning(self, result: str | Band, weights: Floats) -> Meaning:
        chance = float(weights.sum())
        after = weights / max(chance, 1e-300)
        order = _leading(self._model, after)[:LEADERS]
        leaders = tuple((self._model.causes[n], round(float(after[n]), 6)) for n in order)
        return Meaning(result, round(chance, 6), leaders)

    def expected_minutes(self, causes: Floats) -> float:
        """Return the minutes to the fix when repair starts now, as a clock would show them."""
        return minutes_of_order(causes, self.minutes, self.repair_order(causes))

    def repair_order(self, causes: Floats) -> list[int]:
        """Return the causes in the best order of trying their repairs."""
        return repair_order(causes, self.minutes, self._wrong)

    def _repairs(self, belief: Belief) -> tuple[str, ...]:
        """Return the order in which repairs would be tried, the likely ones only."""
        names = self._model.causes
        likely = [
            names[n] for n in self.repair_order(belief.causes)
            if belief.causes[n] >= LEAST_REPAIR and names[n] not in NO_REPAIR
        ]  # fmt: skip
        return tuple(likely[:MOST_REPAIRS])

    def proposals(self, belief: Belief, situation: Situation) -> tuple[list[Proposal], bool]:
        """Return the checks that can be done, best plan first, and whether to repair instead.

        Some checks may save less than nothing.
        """
        names = [name for name in self._names if self._open(name, situation)]
        if not names:
            return [], True
        ranking = rank(
            self._problem(belief, names, situation), belief.known.weights, range(len(names))
        )
        found = [Proposal(names[one.check], ranking.worth(one)) for one in ranking.options]
        return found, ranking.repair_first

    def _situation(self, request: Request, effects: Effects, conclusions: Conclusions) -> Situation:
        """Return what limits the choice of the next check."""
        known = [one.check for one in request.findings if one.outcome != NOT_KNOWN]
        return Situation(
            left_out=frozenset({*_answered(request.findings, effects), *effects.dropped_checks}),
            kinds=request.on_hand,
            forbidden=conclusions.forbidden,
            excepted=conclusions.excepted,
            reached=frozenset(self._checks[name].setup for name in known),
            lay=request.skill == LAY,
        )

    def _open(self, name: str, situation: Situation) -> bool:
        """Return whether a check may be proposed."""
        kind = self._checks[name].kind
        return (
            name not in situation.left_out
            and (situation.kinds is None or kind in situation.kinds)
            and not (situation.lay and self._hazards[name] & self._trained)
            and (name in situation.excepted or not self._hazards[name] & situation.forbidden)
        )

    def _problem(self, belief: Belief, names: Sequence[str], situation: Situation) -> Problem:
        """Return the planning problem of the hypotheses that still matter."""
        membership = self._model.membership[belief.known.keep]
        causes = membership.any(axis=0)
        bins = [self._forecast(belief, name).bins for name in names]
        return Problem(
            membership[:, causes], np.concatenate(bins, axis=1),
            [int(n) for n in np.cumsum([0, *(one.shape[1] for one in bins)])],
            np.array([self._minutes_of(name, situation) for name in names]),
            self.minutes[causes], wrong_repair=self._wrong,
        )  # fmt: skip

    def _minutes_of(self, name: str, situation: Situation) -> float:
        """Return what a check costs; a place that is open already is not opened again."""
        setup = self._checks[name].setup
        saved = self._setups.get(setup, 0.0) if setup in situation.reached else 0.0
        return max(self._base[name] - saved, 0.25)


def _answered(findings: Sequence[Finding], effects: Effects) -> set[str]:
    """Return the checks that need no asking: answered, unless the answer was set aside.

    A check whose repeat was set aside too is not asked a third time.
    """
    aside = {entry.finding for entry in effects.set_aside}
    older = {entry.finding for entry in effects.superseded}
    counted = [one for one in findings if one.index not in older]
    times = Counter(one.check for one in counted)
    return {one.check for one in counted if one.index not in aside or times[one.check] > 1}


def _promoted(
    ranked: Sequence[Proposal], worth: Sequence[Proposal], conclusions: Conclusions
) -> list[Proposal]:
    """Return up to two checks that rules put before the others.

    A trap or context rule can only prefer a check that saves at least half of what the best one
    does; a chain (do this before the new part is fitted) stands whatever the minutes say.
    """
    saving = {one.check: one for one in ranked}
    enough = 0.5 * max((one.saves_minutes for one in worth), default=np.inf)
    chosen = {
        wish.check: saving[wish.check]
        for wish in conclusions.preferred
        if wish.check in saving and (wish.always or saving[wish.check].saves_minutes >= enough)
    }
    return sorted(chosen.values(), key=lambda one: -round(one.saves_minutes, 6))[:2]


def _leading(model: Model, weights: Floats) -> list[int]:
    """Return causes, most probable first; equal ones by name."""
    near = np.round(weights, 9)
    return sorted(range(len(weights)), key=lambda n: (-near[n], model.causes[n]))


def _results(
    model: Model, check: str, forecast: Forecast, joint: Floats
) -> list[tuple[str | Band, Floats]]:
    """Return the results of a check with the weight of each cause, ``joint`` (result, cause).

    Stretches of readings that lie side by side and have the same leader are taken together.
    """
    prediction = model.predictions[check]
    if isinstance(prediction, OutcomePrediction):
        return list(zip(prediction.names, joint, strict=True))
    stretches = _stretches(prediction, forecast.edges)
    leaders = [_leading(model, row)[0] for row in joint[: len(stretches)]]
    found: list[tuple[str | Band, Floats]] = []
    for _, places in groupby(range(len(stretches)), key=leaders.__getitem__):
        rows = list(places)
        low, high = stretches[rows[0]].low, stretches[rows[-1]].high
        found.append((Band(low, high, prediction.unit), joint[rows].sum(axis=0)))
    if len(joint) > len(stretches):
        found.append((open_band(prediction.unit), joint[-1]))
    return found


def _stretches(prediction: ReadingPrediction, scaled: Floats) -> list[Band]:
    """Return the stretches of readings that the planner tells apart, without the over range."""
    edges = np.asarray(prediction.scale.back(scaled))
    digits = fine_digits(float(np.diff(edges).min())) if len(edges) > 1 else 3
    inner = [rounded(float(edge), digits) for edge in edges]
    return [
        Band(low, high, prediction.unit)
        for low, high in zip([-np.inf, *inner], [*inner, None], strict=True)
    ]  # fmt: skip


class Advisers:
    """The adviser of each model, kept as long as the model is; safe to share between threads."""

    def __init__(self, knowledge: Knowledge, qualify: RuleSet) -> None:
        self._knowledge, self._qualify = knowledge, qualify
        self._kept: dict[int, tuple[Model, Adviser]] = {}
        self._lock = Lock()

    def of(self, model: Model) -> Adviser:
        """Return the adviser of a model."""
        with self._lock:
            kept = self._kept.get(id(model))
            if kept is None or kept[0] is not model:
                if len(self._kept) > KEPT_ADVISERS:
                    self._kept.clear()
                adviser = Adviser(self._knowledge, model, self.context_bins(model))
                kept = self._kept[id(model)] = (model, adviser)
            return kept[1]

    def context_bins(self, model: Model) -> dict[str, Floats]:
        """Return what to expect of the checks that say something only through context rules.

        P(outcome | cause) is taken in proportion to the check's base rate and to the shift that
        the rules give the cause when that outcome alone is known.
        """
        bins = {}
        for name, prediction in model.predictions.items():
            outcomes = self._knowledge.checks[name].outcomes
            if not isinstance(prediction, OutcomePrediction) or outcomes is None:
                continue
            if outcomes.given or isinstance(outcomes.tree, items.Branch):
                continue
            rows = np.stack([self._shift_row(model, name, one) for one in prediction.names])
            shares = prediction.shares * rows.T[model.cause_of]
            bins[name] = shares / shares.sum(axis=1, keepdims=True)
        return bins

    def _shift_row(self, model: Model, check: str, outcome: str) -> Floats:
        """Return the factor that context rules give each cause for one answer on its own."""
        finding = Finding(0, check, outcome, None, None, outcome)
        request = Request(model.machine, None, (finding,), None, 0, ())
        view = case_view(request, [observe(model, finding)])
        effects = effects_of(self._knowledge, view, self._qualify.run(view))
        return np.array([effects.shifts.get(name, 1.0) for name in model.causes])
