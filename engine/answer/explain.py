"""Turns beliefs into the answer's words: evidence, bands, what to look behind, proofs, notes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from engine.answer import words
from engine.knowledge import Knowledge, items
from engine.physics.circuit import Floats
from engine.physics.conditions import Asked
from engine.physics.model import HEALTHY, OUTSIDE, Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.advice import Proposal
from engine.reasoning.belief import Belief
from engine.reasoning.qualify import Corrected, Effects, asked_of, findings_behind
from engine.rules.cautions import Cautions, caution_text, check_hazards, remedy_hazards
from engine.rules.compile import Firing
from engine.rules.views import CaseView

LEAST_WEIGHT_DB = 0.05
CLEARED_BELOW = 0.01
EXPECTED_CAUSES = 3  # how many causes a proposed check shows readings for


@dataclass(frozen=True)
class Scene:
    """All that explaining one diagnosis needs."""

    knowledge: Knowledge
    model: Model
    belief: Belief
    corrected: Sequence[Corrected]
    effects: Effects
    firings: Sequence[Firing]
    view: CaseView
    cautions: Cautions


def expected(scene: Scene, asked: Asked, cause: str, weights: Floats | None = None) -> str:
    """Return in words what a check, as it was or will be done, gives under a cause."""
    prediction, check = scene.model.prediction(asked), asked.check
    if isinstance(prediction, OutcomePrediction):
        outcomes = scene.knowledge.checks[check].outcomes
        assert outcomes is not None
        mine = scene.model.cause_of == scene.model.causes.index(cause)
        share = np.where(mine, scene.model.prior if weights is None else weights, 0.0)
        return words.outcome_words(prediction, share / max(share.sum(), 1e-300), outcomes)
    return words.band_words(scene.model.band(asked, cause))


def evidence(scene: Scene, cause: str) -> list[dict[str, Any]]:
    """Return the findings that speak for or against a cause, the weightiest first."""
    column = scene.model.causes.index(cause)
    found = []
    for row, corrected in enumerate(scene.corrected):
        weight = float(scene.belief.decibans[row, column])
        if abs(weight) >= LEAST_WEIGHT_DB:
            found.append(_evidence(scene, cause, corrected, weight))
    found += _context_evidence(scene, cause)
    return sorted(found, key=lambda one: (-abs(one["weight_db"]), one["finding"]))


def _evidence(scene: Scene, cause: str, corrected: Corrected, weight: float) -> dict[str, Any]:
    finding = corrected.finding
    check = scene.knowledge.checks[finding.check]
    if_cause = expected(scene, asked_of(finding), cause)
    if_healthy = (
        words.band_words(corrected.healthy)
        if corrected.healthy is not None
        else expected(scene, asked_of(finding), HEALTHY)
    )
    observed = finding.stated + (f" ({corrected.said})" if corrected.said else "")
    name = scene.knowledge.causes[cause].name
    speaks = "speaks for it" if weight > 0 else "speaks against it"
    entry = {
        "finding": finding.index,
        "check": finding.check,
        "direction": "for" if weight > 0 else "against",
        "weight_db": round(weight, 1) + 0.0,
        "observed": observed,
        "expected_if_cause": if_cause,
        "expected_if_healthy": if_healthy,
        "because": f"{check.name}: {observed}. {name} gives {if_cause}, a healthy circuit "
        f"{if_healthy}; this {speaks}.",
        "basis": _basis(scene, check),
    }
    if corrected.verdict is not None:
        entry["verdict"] = corrected.verdict
    keep = scene.effects.shares.get(finding.index, 1.0)
    if keep < 1.0:
        entry["counted_share"] = keep
    return entry


def _basis(scene: Scene, check: items.Check) -> str:
    """Return ``circuit`` where the solved circuit predicted the finding, else ``table``."""
    if check.outcomes is None or isinstance(check.outcomes.tree, items.Branch):
        return "circuit"
    return "table"


def _context_evidence(scene: Scene, cause: str) -> list[dict[str, Any]]:
    """Return the context rules that shifted a cause, as evidence of the findings behind them."""
    found = []
    for rule_id in scene.effects.shifted_by.get(cause, ()):
        rule, program = scene.knowledge.rules[rule_id], scene.knowledge.programs[rule_id]
        factor = dict(
            pair for action in program.actions for pair in action.factors
        ).get(cause, 1.0)  # fmt: skip
        weight = float(10 * np.log10(factor))
        firing = next(one for one in scene.firings if one.rule == rule_id)
        for index in findings_behind(scene.knowledge, scene.firings, firing)[:1]:
            finding = next(o.finding for o in scene.corrected if o.finding.index == index)
            found.append({
                "finding": index, "check": finding.check,
                "direction": "for" if weight > 0 else "against",
                "weight_db": round(weight, 1) + 0.0, "observed": finding.stated,
                "expected_if_cause": f"{factor:g} times as likely in this context",
                "expected_if_healthy": "no shift",
                "because": f"{rule.because.found} {rule.because.points}",
                "basis": f"rule:{rule_id}",
            })  # fmt: skip
    return found


def causes(scene: Scene, limit: int) -> list[dict[str, Any]]:
    """Return the answer's causes, most probable first; ``limit`` 0 is all."""
    groups = scene.belief.groups()
    order = scene.belief.order[: limit or None]
    return [_cause(scene, column, groups[column]) for column in order]


def _cause(scene: Scene, column: int, group: int) -> dict[str, Any]:
    name = scene.model.causes[column]
    cause = scene.knowledge.causes[name]
    behind, before = look_behind(scene, name)
    return {
        "id": name,
        "name": cause.name,
        "probability": round(float(scene.belief.causes[column]), 6),
        "group": group,
        "section": cause.section,
        "minutes": cause.minutes,
        "evidence": evidence(scene, name),
        "looks_like": cause.looks_like,
        "remedy": cause.remedy,
        "proof_of_repair": cause.proof_of_repair,
        "look_behind": behind,
        "before_replacing": before,
        "cautions": scene.cautions.for_step(
            remedy_hazards(cause, scene.model.variants), scene.view
        ),
    }


def look_behind(scene: Scene, cause: str) -> tuple[list[dict[str, str]], list[str]]:
    """Return what may have caused a cause, with reasons, and the checks before replacing."""
    roots: dict[str, str] = {}
    before: dict[str, None] = {}
    for firing in scene.firings:
        rule, program = scene.knowledge.rules[firing.rule], scene.knowledge.programs[firing.rule]
        for action in program.actions:
            if action.kind == "look_behind" and cause in action.about:
                for root in action.roots:
                    if root in scene.model.causes:
                        roots.setdefault(root, f"{rule.because.found} {rule.because.points}")
                known = [name for name in action.before if name in scene.model.predictions]
                before.update(dict.fromkeys(known))
    return [{"cause": root, "because": why} for root, why in roots.items()], list(before)


def proofs(scene: Scene) -> list[dict[str, Any]]:
    """Return what the findings prove good.

    A cause that other findings still speak for is not called cleared, whatever the rule says.
    """
    found = []
    belief = dict(zip(scene.model.causes, scene.belief.causes, strict=True))
    for firing in scene.firings:
        rule, program = scene.knowledge.rules[firing.rule], scene.knowledge.programs[firing.rule]
        clears = [
            cause for action in program.actions if action.kind == "clears"
            for cause in action.about if belief.get(cause, 1.0) < CLEARED_BELOW
        ]  # fmt: skip
        if clears:
            found.append({
                "rule": rule.id, "says": f"{rule.because.found} {rule.because.points}",
                "next": rule.because.next, "from": list(firing.findings), "clears": clears,
            })  # fmt: skip
    return found


def notes(scene: Scene) -> list[dict[str, str]]:
    """Return what rules have to say, each in its three parts."""
    return [
        {
            "rule": rule.id, "found": rule.because.found, "points": rule.because.points,
            "next": rule.because.next,
        }
        for firing in scene.firings
        for rule in [scene.knowledge.rules[firing.rule]]
        if any(action.kind == "note" for action in scene.knowledge.programs[rule.id].actions)
    ]  # fmt: skip


def general_cautions(scene: Scene) -> list[dict[str, str]]:
    """Return the cautions of the diagnosis as a whole; those that a finding raised come first."""
    raised = [
        firing for firing in scene.firings
        if scene.knowledge.rules[firing.rule].family == "cautions"
    ]  # fmt: skip
    raised.sort(key=lambda firing: not findings_behind(scene.knowledge, scene.firings, firing))
    return [
        {"id": firing.rule, "text": caution_text(scene.knowledge.rules[firing.rule])}
        for firing in raised
    ]


def trace(scene: Scene) -> list[dict[str, Any]]:
    """Return which rules fired, on which findings and conclusions, and what they concluded."""
    return [
        {
            "rule": firing.rule,
            "findings": list(firing.findings),
            "facts": list(firing.facts),
            "concluded": [
                fact for action in scene.knowledge.programs[firing.rule].actions
                if action.kind == "conclude" for fact in action.about
            ],
        }
        for firing in scene.firings
    ]  # fmt: skip


def check_words(scene: Scene, check: items.Check) -> dict[str, Any]:
    """Return how to do a check on this machine: placeholders filled, hazards into cautions."""
    fill = placeholders(scene.model, check)
    return {
        "check": check.id,
        "name": check.name,
        "kind": check.kind,
        "minutes": check.minutes,
        "say": check.say.format_map(fill),
        "how": check.how.format_map(fill),
        "why": check.why.format_map(fill),
        "cautions": scene.cautions.for_step(check_hazards(check, scene.model.variants), scene.view),
    }


def placeholders(model: Model, check: items.Check) -> Mapping[str, str]:
    """Return the words that depend on the machine; several where control or coil is unknown."""

    def either(texts: Sequence[str]) -> str:
        return " or ".join(dict.fromkeys(texts))

    circuits = [variant.circuit for variant in model.variants]
    points = [variant.circuit.coils[variant.coil].ground_point for variant in model.variants]
    when = either([one.command_words for one in circuits])
    return {
        "when": when,
        "moment": when,
        "listen": either([one.listen_words for one in circuits]),
        "hold_when": either([one.hold_words for one in circuits]),
        "ground_point": either(points),
        "volts": str(model.machine.system_volts),
    }


def next_check(scene: Scene, proposal: Proposal) -> dict[str, Any]:
    """Return a proposed check with what the leading causes would make it read."""
    check = scene.knowledge.checks[proposal.check]
    leading = [scene.model.causes[column] for column in scene.belief.order]
    named = [name for name in leading if name not in (HEALTHY, OUTSIDE)][:EXPECTED_CAUSES]
    posterior = scene.belief.hypotheses
    asked = Asked(check.id)
    return {
        **check_words(scene, check),
        "saves_minutes": round(proposal.saves_minutes, 1),
        "expect": [
            {"cause": name, "reads": expected(scene, asked, name, posterior)} for name in named
        ]
        + [{"cause": HEALTHY, "reads": expected(scene, asked, HEALTHY)}],
    }
