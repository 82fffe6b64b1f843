"""The one public entry: a request in, a diagnosis out. Pure: the same request, the same answer."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from threading import Lock
from typing import Any

import numpy as np

from engine.answer import explain, words
from engine.knowledge import Knowledge, items, load_knowledge
from engine.physics.circuit import Floats
from engine.physics.model import HEALTHY, OUTSIDE, Model, ModelStore
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.advice import MIN_SAVING, Adviser, Proposal, Situation
from engine.reasoning.belief import Belief, fit_of, log_prior, weigh
from engine.reasoning.pairs import weigh_pairs
from engine.reasoning.qualify import (
    Corrected,
    Effects,
    case_view,
    correct,
    effects_of,
    shares_of,
    with_beliefs,
)
from engine.reasoning.request import NOT_KNOWN, Finding, Request, read_request
from engine.rules.cautions import Cautions
from engine.rules.compile import Firing, RuleSet
from engine.rules.views import CaseView

MAX_PROPOSALS = 5


class Diagnoser:
    """Diagnoses requests with one knowledge base; safe to share between threads."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.models = ModelStore(knowledge)
        self.cautions = Cautions(knowledge)
        steps = self.cautions.step_rules
        chosen = {name: rule for name, rule in knowledge.rules.items() if name not in steps}
        self.rule_sets = {
            stage: RuleSet(
                {name: rule for name, rule in chosen.items() if rule.stage == stage},
                knowledge.programs,
            )
            for stage in ("qualify", "prove", "conclude")
        }
        self._advisers: dict[int, tuple[Model, Adviser]] = {}
        self._lock = Lock()

    def diagnose(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the diagnosis of a request (the contract's request and answer as plain data).

        Raises RequestError carrying every fault of the request with its path.
        """
        checked = read_request(request, self.knowledge)
        sides = list(dict.fromkeys(one.side for one in checked.findings if one.side))
        if not sides:
            return self._one_side(checked)
        answers = {side: self._one_side(self._of_side(checked, side)) for side in sorted(sides)}
        # The top of the answer is about the side that was named first; nothing is left out below.
        return {**answers[sides[0]], "side": sides[0], "sides": answers}

    def _of_side(self, request: Request, side: str) -> Request:
        """Return the request as it concerns one of two brake solenoids.

        What was found on the other one does not enter, unless the check reads what both share.
        """
        kept = [
            one
            for one in request.findings
            if one.side in (None, side) or self.knowledge.checks[one.check].shared_between_sides
        ]
        return replace(request, findings=tuple(kept))

    def _one_side(self, request: Request) -> dict[str, Any]:
        model = self.models.get(request.machine)
        corrected = [correct(model, one) for one in request.findings]
        view = case_view(request, corrected)
        first = self.rule_sets["qualify"].run(view)
        effects = effects_of(self.knowledge, view, first)
        effects.dropped_causes += request.excluded
        if request.excluded:  # something was put right and the complaint is unchanged
            effects.dropped_causes.append(HEALTHY)
        belief = self._belief(model, corrected, effects)
        beliefs = dict(zip(model.causes, belief.causes.tolist(), strict=True))
        late_view = with_beliefs(view, beliefs)
        late = self._late(late_view, first, effects)
        scene = explain.Scene(
            self.knowledge, model, belief, corrected, effects, [*first, *late], late_view,
            self.cautions,
        )  # fmt: skip
        return self._answer(request, scene)

    def _late(self, view: CaseView, first: Sequence[Firing], effects: Effects) -> list[Firing]:
        """Run the rules that know the beliefs. Proofs rest on findings that count in full."""
        known = self.rule_sets["qualify"].concluded(first)
        full = tuple(one for one in view.findings if effects.shares.get(one.index, 1.0) == 1.0)
        proved = self.rule_sets["prove"].run(replace(view, findings=full), known)
        known |= self.rule_sets["prove"].concluded(proved)
        return [*proved, *self.rule_sets["conclude"].run(view, known)]

    def _belief(self, model: Model, corrected: Sequence[Corrected], effects: Effects) -> Belief:
        weighed = tuple(weigh(model, one.finding, one.value, one.meter) for one in corrected)
        return Belief(
            model, log_prior(model, effects.shifts, effects.dropped_causes), weighed,
            shares_of(effects, [one.finding for one in corrected]),
        )  # fmt: skip

    def _answer(self, request: Request, scene: explain.Scene) -> dict[str, Any]:
        proposals, advice = self._advice(request, scene)
        fit = self._fit(scene)
        out_of_scope = scene.effects.out_of_scope
        return {
            "knowledge_version": self.knowledge.version,
            "causes": explain.causes(scene, request.limit),
            "set_aside": scene.effects.set_aside,
            "weakened": scene.effects.weakened,
            "proofs": explain.proofs(scene),
            "notes": explain.notes(scene),
            "fit": fit,
            "next_checks": [explain.next_check(scene, one) for one in proposals],
            "advice": advice,
            "cautions": explain.general_cautions(scene),
            "scope": {"covered": out_of_scope is None, "because": out_of_scope},
            "trace": explain.trace(scene),
        }

    def _fit(self, scene: explain.Scene) -> dict[str, Any]:
        """Return how well one cause explains the findings, and what else might."""
        fit = fit_of(scene.belief)
        entry: dict[str, Any] = {"verdict": fit.verdict, "disagreeing": list(fit.disagreeing)}
        if fit.verdict == "good":
            return entry
        found = weigh_pairs(self.knowledge, scene.belief, scene.corrected)
        return {
            **entry,
            "two_faults_probability": round(found.chance, 6),
            "pairs": found.pairs,
            "repeat": found.repeat,
        }

    def _situation(self, request: Request, scene: explain.Scene) -> Situation:
        """Return what limits the choice of the next check."""
        answered = _answered(request.findings, scene.effects)
        bans = [
            action
            for firing in scene.firings
            for action in self.knowledge.programs[firing.rule].actions
            if action.kind == "forbid"
        ]
        return Situation(
            left_out=frozenset(answered) | frozenset(scene.effects.dropped_checks),
            kinds=request.on_hand,
            forbidden=frozenset(hazard for ban in bans for hazard in ban.about),
            excepted=frozenset(check for ban in bans for check in ban.before),
            reached=frozenset(
                self.knowledge.checks[one.check].setup
                for one in request.findings
                if one.outcome != NOT_KNOWN
            ),
        )

    def _adviser(self, model: Model) -> Adviser:
        """Return the adviser of a model; kept as long as the model is."""
        with self._lock:
            kept = self._advisers.get(id(model))
            if kept is None or kept[0] is not model:
                if len(self._advisers) > 64:
                    self._advisers.clear()
                adviser = Adviser(self.knowledge, model, self.context_bins(model))
                kept = self._advisers[id(model)] = (model, adviser)
            return kept[1]

    def context_bins(self, model: Model) -> dict[str, Floats]:
        """Return what to expect of the checks that say something only through context rules.

        P(outcome | cause) is taken in proportion to the check's base rate and to the shift that
        the rules give the cause when that outcome alone is known.
        """
        bins = {}
        for name, prediction in model.predictions.items():
            outcomes = self.knowledge.checks[name].outcomes
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
        view = case_view(
            Request(model.machine, None, (finding,), None, 0, ()), [correct(model, finding)]
        )
        effects = effects_of(self.knowledge, view, self.rule_sets["qualify"].run(view))
        return np.array([effects.shifts.get(name, 1.0) for name in model.causes])

    def _advice(
        self, request: Request, scene: explain.Scene
    ) -> tuple[list[Proposal], dict[str, Any]]:
        """Return the checks to propose, and what to do when there is none."""
        adviser = self._adviser(scene.model)
        if scene.effects.out_of_scope is not None:
            return [], _advice_entry("refer", 0.0, [], scene.effects.out_of_scope)
        ranked, repair_first = adviser.proposals(
            scene.belief.hypotheses, self._situation(request, scene)
        )
        worth = [one for one in ranked if one.saves_minutes >= MIN_SAVING and not repair_first]
        found = [*_promoted(ranked, worth, scene), *worth]
        found = list({one.check: one for one in found}.values())[:MAX_PROPOSALS]
        minutes = adviser.expected_minutes(scene.belief.causes)
        order = _repair_names(adviser, scene)
        if found:
            return found, _advice_entry("check", minutes, order, None)
        first = order[0] if order else scene.model.causes[scene.belief.order[0]]
        chance = float(scene.belief.causes[scene.model.causes.index(first)])
        name = scene.knowledge.causes[first].name.lower()
        why = (
            f"No check {'at hand ' if request.on_hand is not None else ''}is expected to save more "
            f"time than it takes: repair in this order, first {name} ({words.percent(chance)})."
        )
        return [], _advice_entry("repair", minutes, order, why)


def _advice_entry(
    action: str, minutes: float, order: list[str], because: str | None
) -> dict[str, Any]:
    return {
        "do": action,
        "expected_minutes_if_repair_now": round(minutes, 1),
        "repair_order": order,
        "because": because,
    }


def _answered(findings: Sequence[Finding], effects: Effects) -> set[str]:
    """Return the checks that need no asking: answered, unless the answer was set aside.

    A check whose repeat was set aside too is not asked a third time.
    """
    aside = {index for index, share in effects.shares.items() if share == 0.0}
    times = Counter(one.check for one in findings)
    return {one.check for one in findings if one.index not in aside or times[one.check] > 1}


def _promoted(
    ranked: Sequence[Proposal], worth: Sequence[Proposal], scene: explain.Scene
) -> list[Proposal]:
    """Return up to two checks that rules put before the others.

    A trap or context rule can only prefer a check that saves at least half of what the best one
    does; a chain (do this before the new part is fitted) stands whatever the minutes say.
    """
    saving = {one.check: one for one in ranked}
    enough = 0.5 * max((one.saves_minutes for one in worth), default=math.inf)
    found: dict[str, Proposal] = {}
    for firing in scene.firings:
        always = scene.knowledge.rules[firing.rule].family == "chains"
        for action in scene.knowledge.programs[firing.rule].actions:
            for name in action.about if action.kind == "ask_first" else ():
                if name in saving and (always or saving[name].saves_minutes >= enough):
                    found.setdefault(name, saving[name])
    return sorted(found.values(), key=lambda one: -round(one.saves_minutes, 6))[:2]


def _repair_names(adviser: Adviser, scene: explain.Scene) -> list[str]:
    """Return the order in which repairs would be tried, the likely ones only."""
    causes = scene.belief.causes
    order = adviser.repair_order(causes)
    return [
        scene.model.causes[n] for n in order
        if causes[n] >= 0.01 and scene.model.causes[n] not in (HEALTHY, OUTSIDE)
    ][:5]  # fmt: skip


@lru_cache(maxsize=1)
def shipped() -> Diagnoser:
    """Return the diagnoser of the shipped knowledge base, built once a process."""
    return Diagnoser(load_knowledge())


def diagnose(request: Mapping[str, Any]) -> dict[str, Any]:
    """Diagnose with the shipped knowledge base. Raises RequestError for a bad request."""
    return shipped().diagnose(request)
