"""Turns what was concluded into the answer: evidence, bands, what to look behind, what to do."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from engine.answer import words
from engine.answer.answer import (
    Advice,
    Answer,
    CauseEntry,
    Caution,
    Evidence,
    Expectation,
    FitEntry,
    LookBehind,
    NextCheck,
    Note,
    Scope,
)
from engine.knowledge import Knowledge, items
from engine.physics.band import Band
from engine.physics.circuit import Floats
from engine.physics.conditions import MeasurementConditions
from engine.physics.machine import Variant
from engine.physics.model import HEALTHY, NO_REPAIR, Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.advice import BEYOND, UNSAFE, Plan, Proposal
from engine.reasoning.belief import Belief, Fit
from engine.reasoning.conclusions import Conclusions
from engine.reasoning.effects import Effects, findings_behind
from engine.reasoning.observe import Observation
from engine.reasoning.pairs import PairFit
from engine.reasoning.request import ALL, LEADING_CAUSES, NOT_KNOWN, Request
from engine.rules.cautions import Cautions, caution_text, check_hazards, remedy_hazards
from engine.rules.views import CaseView

LEAST_WEIGHT_DB = 0.05
EXPECTED_CAUSES = 3  # how many causes a proposed check shows readings for


@dataclass(frozen=True)
class Scene:
    """All that explaining one diagnosis needs."""

    knowledge: Knowledge
    cautions: Cautions
    request: Request
    model: Model
    observations: Sequence[Observation]
    effects: Effects
    belief: Belief
    conclusions: Conclusions
    plan: Plan
    fit: Fit
    two: PairFit | None  # where one cause does not fit well
    _told: dict[Any, Any] = field(default_factory=dict, repr=False)  # what causes share, once

    def cautions_of(self, hazards: frozenset[str]) -> tuple[str, ...]:
        """Return the cautions of a step with these hazards."""
        if hazards not in self._told:
            self._told[hazards] = tuple(self.cautions.for_step(hazards, self.conclusions.view))
        return self._told[hazards]

    def healthy(self, observation: Observation) -> tuple[str, Band | None, float | None]:
        """Return what a healthy circuit gives where it was found, and how often that."""
        index = observation.finding.index
        if index not in self._told:
            said, band = expected(self.model, observation.conditions, HEALTHY)
            if observation.healthy is not None:  # the meter that was used may put it in doubt
                said, band = observation.healthy.words, observation.healthy
            self._told[index] = said, band, chance_of(self.model, observation, HEALTHY)
        return self._told[index]


def answer(scene: Scene) -> Answer:
    """Return the answer of one diagnosis."""
    out_of_scope = scene.effects.out_of_scope
    return Answer(
        knowledge_version=scene.knowledge.version,
        causes=_causes(scene),
        set_aside=scene.effects.set_aside,
        weakened=scene.effects.weakened,
        superseded=scene.effects.superseded,
        proofs=scene.conclusions.proofs,
        notes=_notes(scene),
        fit=_fit(scene),
        next_checks=_next_checks(scene, scene.plan.proposals),
        advice=_advice(scene),
        cautions=tuple(
            Caution(name, caution_text(scene.knowledge.rules[name]))
            for name in scene.conclusions.cautions
        ),
        scope=Scope(out_of_scope is None, out_of_scope),
        trace=scene.conclusions.firings,
        further_checks=None
        if scene.plan.further is None
        else _next_checks(scene, scene.plan.further),
        belief=scene.belief,
    )


def expected(
    model: Model, conditions: MeasurementConditions, cause: str, weights: Floats | None = None
) -> tuple[str, Band | None]:
    """Return what a check, as it was or will be done, gives under a cause: in words, and as a band.

    ``weights`` of hypotheses (their priors where left out) mix the outcomes of a cause's states.
    """

    def made() -> tuple[str, Band | None]:
        prediction = model.prediction(conditions)
        if not isinstance(prediction, OutcomePrediction):
            band = model.band(conditions, cause)
            return band.words, band
        outcomes = model.knowledge.checks[conditions.check].outcomes
        assert outcomes is not None
        if weights is None:
            chances = model.outcomes(conditions)[model.causes.index(cause)]
        else:
            share = model.weights_of(cause, weights)
            chances = share @ prediction.shares / max(share.sum(), 1e-300)
        return words.outcome_words(prediction.names, chances, outcomes), None

    return made() if weights is not None else model.kept((expected, conditions, cause), made)


def _causes(scene: Scene) -> tuple[CauseEntry, ...]:
    """Return the answer's causes, most probable first; a limit of 0 is all."""
    groups = scene.belief.groups()
    order = scene.belief.order[: scene.request.limit or None]
    explained = order if scene.request.evidence == ALL else order[:LEADING_CAUSES]
    return tuple(_cause(scene, column, groups[column], column in explained) for column in order)


def _cause(scene: Scene, column: int, group: int, explained: bool) -> CauseEntry:
    name = scene.model.causes[column]
    cause = scene.knowledge.causes[name]
    behind, before = _look_behind(scene, name)
    return CauseEntry(
        id=name,
        name=cause.name,
        probability=round(float(scene.belief.causes[column]), 6),
        group=group,
        section=cause.section,
        minutes=cause.minutes,
        evidence=_evidence(scene, name) if explained else (),
        looks_like=cause.looks_like,
        remedy=cause.remedy,
        proof_of_repair=cause.proof_of_repair,
        look_behind=behind,
        before_replacing=before,
        cautions=scene.cautions_of(
            scene.model.kept(
                (remedy_hazards, name), lambda: remedy_hazards(cause, scene.model.variants)
            )
        ),
    )


def _evidence(scene: Scene, cause: str) -> tuple[Evidence, ...]:
    """Return the findings that speak for or against a cause, the weightiest first."""
    column = scene.model.causes.index(cause)
    weighed = zip(scene.observations, scene.belief.decibans[:, column].tolist(), strict=True)
    found = [
        _of_finding(scene, cause, observation, weight)
        for observation, weight in weighed if abs(weight) >= LEAST_WEIGHT_DB
    ]  # fmt: skip
    found += _of_context(scene, cause)
    return tuple(sorted(found, key=lambda one: (-abs(one.weight_db), one.finding)))


def _of_finding(scene: Scene, cause: str, observation: Observation, weight: float) -> Evidence:
    finding = observation.finding
    check, name = scene.knowledge.checks[finding.check], scene.knowledge.causes[cause].name
    if_cause, cause_band = expected(scene.model, observation.conditions, cause)
    if_healthy, healthy_band, chance_if_healthy = scene.healthy(observation)
    observed = finding.stated + (f" ({observation.said})" if observation.said else "")
    speaks = "speaks for it" if weight > 0 else "speaks against it"
    keep = scene.effects.shares.get(finding.index, 1.0)
    by_circuit = check.outcomes is None or isinstance(check.outcomes.tree, items.Branch)
    return Evidence(
        finding=finding.index,
        check=finding.check,
        direction="for" if weight > 0 else "against",
        weight_db=round(weight, 1) + 0.0,
        observed=observed,
        expected_if_cause=if_cause,
        expected_if_healthy=if_healthy,
        because=f"{check.name}: {observed}. {name} gives {if_cause}, a healthy circuit "
        f"{if_healthy}; this {speaks}.",
        basis="circuit" if by_circuit else "table",
        verdict=observation.verdict,
        counted_share=keep if keep < 1.0 else None,
        expected_if_cause_range=cause_band,
        expected_if_healthy_range=healthy_band,
        value=observation.value if healthy_band is not None else None,
        chance_if_cause=chance_of(scene.model, observation, cause),
        chance_if_healthy=chance_if_healthy,
    )


def chance_of(model: Model, observation: Observation, cause: str) -> float | None:
    """Return how often a cause gives the outcome that was found; None where it was a reading."""
    prediction, outcome = observation.prediction, observation.finding.outcome
    if not isinstance(prediction, OutcomePrediction) or outcome in (None, NOT_KNOWN):
        return None
    chances = model.outcomes(observation.conditions)[model.causes.index(cause)]
    return round(float(chances[prediction.names.index(outcome)]), 6)


def _of_context(scene: Scene, cause: str) -> list[Evidence]:
    """Return the context rules that shifted a cause, as evidence of the findings behind them."""
    found = []
    firings = scene.conclusions.firings
    for name in scene.effects.shifted_by.get(cause, ()):
        rule, program = scene.knowledge.rules[name], scene.knowledge.programs[name]
        factors = dict(pair for action in program.actions for pair in action.factors)
        factor = factors.get(cause, 1.0)
        weight = float(10 * np.log10(factor))
        firing = next(one for one in firings if one.rule == name)
        behind = findings_behind(firings, firing)
        told = [one.finding for one in scene.observations if one.finding.index in behind]
        if told:  # one of them, the same in whatever order they were told
            finding = min(told, key=lambda one: (one.check, one.stated))
            found.append(Evidence(
                finding.index, finding.check, "for" if weight > 0 else "against",
                round(weight, 1) + 0.0, finding.stated,
                f"{factor:g} times as likely in this context", "no shift",
                rule.because.why, f"rule:{name}",
            ))  # fmt: skip
    return found


def _look_behind(scene: Scene, cause: str) -> tuple[tuple[LookBehind, ...], tuple[str, ...]]:
    """Return what may have caused a cause, with reasons, and the checks before replacing."""
    roots: dict[str, str] = {}
    before: dict[str, None] = {}
    for chain in (one for one in scene.conclusions.chains if cause in one.causes):
        because = scene.knowledge.rules[chain.rule].because
        for root in chain.roots:
            if root in scene.model.causes:
                roots.setdefault(root, because.why)
        before.update({name: None for name in chain.before if name in scene.model.predictions})
    return tuple(LookBehind(root, why) for root, why in roots.items()), tuple(before)


def _notes(scene: Scene) -> tuple[Note, ...]:
    """Return what rules have to say, each in its three parts."""
    return tuple(
        Note(rule.id, rule.because.found, rule.because.points, rule.because.next)
        for firing in scene.conclusions.firings
        for rule in [scene.knowledge.rules[firing.rule]]
        if any(action.kind == "note" for action in scene.knowledge.programs[rule.id].actions)
    )


def _fit(scene: Scene) -> FitEntry:
    """Return how well one cause explains the findings, and what else might."""
    fit, two = scene.fit, scene.two
    if two is None:
        return FitEntry(fit.verdict, fit.disagreeing)
    # where two causes explain the findings better than one, no one cause fits them
    verdict = "poor" if two.pairs else fit.verdict
    return FitEntry(verdict, fit.disagreeing, round(two.chance, 6), two.pairs, two.repeat)


def _advice(scene: Scene) -> Advice:
    """Return what to do, and why where it is not a check."""
    plan, belief = scene.plan, scene.belief
    because, names = scene.effects.out_of_scope, scene.model.causes
    leader = names[belief.order[0]]
    leads = belief.causes[belief.order[0]] >= scene.knowledge.thresholds.leads
    figure = scene.knowledge.causes[leader].own_figure
    get_figure = None
    if plan.action == "repair":
        first = plan.repair_order[0] if plan.repair_order else leader
        chance = float(belief.causes[names.index(first)])
        at_hand = "at hand " if scene.request.on_hand is not None else ""
        name = scene.knowledge.causes[first].name.lower()
        because = (
            f"No check {at_hand}is expected to save more time than it takes: repair in this "
            f"order, first {name} ({words.percent(chance)})."
        )
    elif plan.lacks_figure and leads and figure is not None:
        because, get_figure = figure.otherwise, figure.figure
    elif plan.action == "hand-over":
        because = _handed_over(scene)
    return Advice(plan.action, round(plan.minutes, 1), plan.repair_order, because, get_figure)


def _handed_over(scene: Scene) -> str:
    """Return who is to be sent, with what, and what comes first."""
    leader = scene.belief.order[0]
    cause = scene.knowledge.causes[scene.model.causes[leader]]
    chance = float(scene.belief.causes[leader])
    leads = chance >= scene.knowledge.thresholds.leads
    name = f"{cause.name} ({words.percent(chance)})"
    if scene.plan.handed == BEYOND and cause.another_trade and leads:
        return f"What leads is for others to put right: {name}. Hand it on with this report."
    if scene.plan.handed == BEYOND and leads and cause.id not in NO_REPAIR:
        found = "What was found points past this circuit."
        return f"{found} What leads: {name}. Hand the machine on with this report."
    if scene.plan.handed == BEYOND:
        return (
            "What was found points past this circuit, or to a good one, and no cause in it is "
            "likely by itself. Hand the machine on with this report, or back if it works."
        )
    least = scene.knowledge.thresholds.least_change
    more = any(one.changes >= least and one.worth > 0 for one in scene.plan.proposals)
    nearly = ", or nearly" if more else ""
    said = f"That is all that can be told with what is at hand{nearly}"
    said += f". What leads: {name}." if leads else ", and no cause leads at half."
    if scene.plan.handed == UNSAFE:
        said = "Not every step is safe at this machine as it stands, so go no further by phone."
    if not scene.plan.further:
        return f"{said} Send somebody who knows this type of machine, with this report."
    check = scene.knowledge.checks[scene.plan.further[0].check]
    sent = f"Send a trained person to the machine {words.TOOLS[check.kind]}"
    return f"{said} {sent}. First check: {check.name}."


def placeholders(model: Model) -> Mapping[str, str]:
    """Return the words that depend on the machine; several where control or coil is unknown."""

    def either(say: Callable[[Variant], str]) -> str:
        return " or ".join(dict.fromkeys(map(say, model.variants)))

    when = either(lambda one: one.circuit.command_words)
    return {
        "when": when,
        "moment": when,
        "listen": either(lambda one: one.circuit.listen_words),
        "hold_when": either(lambda one: one.circuit.hold_words),
        "ground_point": either(lambda one: one.circuit.coils[one.coil].ground_point),
        "volts": str(model.machine.system_volts),
    }


def _next_checks(scene: Scene, proposals: Sequence[Proposal]) -> tuple[NextCheck, ...]:
    """Return proposed checks: how each is done here, and what its results would mean."""
    leading = [scene.model.causes[column] for column in scene.belief.order]
    told = scene.plan.meanings or {}
    return tuple(
        replace(
            step_of(scene.model, scene.cautions, scene.conclusions.view, one.check, leading,
                    scene.belief.hypotheses, one.reason.provoke),
            saves_minutes=round(one.saves_minutes, 1),
            saves_with_wrong_repairs=round(max(one.worth, 0.0), 1),
            reason=words.reason(one.reason, scene.knowledge.causes[one.reason.confirms].name
                                if one.reason.confirms else None),
            meanings=told[one.check],
        )
        for one in proposals
    )  # fmt: skip


def step_of(  # noqa: PLR0913, PLR0917 - what a step hangs on
    model: Model, cautions: Cautions, view: CaseView, name: str, leading: Sequence[str],
    weights: Floats | None = None, provoke: str | None = None,
) -> NextCheck:  # fmt: skip
    """Return how a check is done on a machine as things stand, whether proposed or not.

    ``leading`` are causes, most probable first, and ``weights`` of hypotheses as in ``expected``;
    ``provoke`` is what brings the fault on meanwhile. Raises KeyError for a check that the machine
    cannot have.
    """
    check = model.knowledge.checks[name]
    fill = model.kept(placeholders, lambda: placeholders(model))
    named = [one for one in leading if one not in NO_REPAIR][:EXPECTED_CAUSES]
    conditions = MeasurementConditions(name)
    hazards = model.kept((check_hazards, name), lambda: check_hazards(check, model.variants))
    hazards |= items.HAZARDS_OF_PROVOKED.get(provoke or "", frozenset())
    meanwhile = words.PROVOKING[provoke] if provoke else ""
    return NextCheck(
        check=name,
        name=check.name,
        kind=check.kind,
        minutes=check.minutes,
        say=check.say.format_map(fill) + meanwhile,
        how=check.how.format_map(fill) + meanwhile,
        why=check.why.format_map(fill),
        cautions=tuple(cautions.for_step(hazards, view)),
        expect=tuple(
            Expectation(one, expected(model, conditions, one, weight)[0])
            for one, weight in [*((one, weights) for one in named), (HEALTHY, None)]
        ),
        provoke=provoke,
    )
