"""Readings made comparable before they are weighed: leads, temperature, verdict, rule effects."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from engine.calculations import copper, meter
from engine.knowledge import Knowledge, items
from engine.knowledge.rule_language import FindingTest, Program
from engine.physics.band import Band
from engine.physics.conditions import Asked
from engine.physics.model import HEALTHY, Model
from engine.physics.prediction import LEAD_ZEROED_U, Instrument, ReadingPrediction
from engine.reasoning.request import NOT_KNOWN, OPEN, Finding, Request
from engine.rules.compile import Firing
from engine.rules.views import CaseView, FindingView, holds, matching

SURE = 0.9  # conformance probability from which a verdict is given (JCGM 106:2012 for the idea)
LEAST_U = 1e-6  # in the unit of the reading
WINDINGS = ("pull-winding", "hold-winding")


@dataclass(frozen=True)
class Corrected:
    """A finding with the value and meter that are weighed, and what was done to the value.

    ``healthy`` is the band that the verdict is by; None where there is no verdict.
    """

    finding: Finding
    value: float | None
    meter: Instrument | None
    verdict: str | None
    healthy: Band | None = None
    said: str = ""


def asked_of(finding: Finding) -> Asked:
    """Return the check of a finding as it was done."""
    return Asked(finding.check, finding.moment, finding.plug, finding.measured_to)


def correct(model: Model, finding: Finding) -> Corrected:
    """Correct a reading for leads and temperature and give its verdict."""
    asked = asked_of(finding)
    prediction = model.prediction(asked)
    if not isinstance(prediction, ReadingPrediction) or finding.outcome == NOT_KNOWN:
        return Corrected(finding, None, None, None)
    healthy = None if prediction.flat.all() else model.band(asked, HEALTHY)
    if finding.outcome == OPEN or finding.value is None:
        verdict = healthy and ("good" if healthy.high is None else "open")
        return Corrected(finding, None, None, verdict, healthy)
    value, said = finding.value, []
    instrument = finding.meter or prediction.instrument
    if finding.lead_ohms is not None:
        value = max(value - finding.lead_ohms, 0.0)
        said.append(f"{finding.lead_ohms:g} ohm of leads taken off")
        instrument = replace(instrument, lead_u=LEAD_ZEROED_U)
    elif finding.meter is not None and prediction.unit == "ohm":
        instrument = replace(instrument, lead_u=prediction.instrument.lead_u)
    if finding.celsius is not None and _is_winding(finding.check):
        ambient = model.variants[0].ambient_celsius
        value = float(copper.resistance_at(value, finding.celsius, ambient)) if value else 0.0
        said.append(f"referred from {finding.celsius:g} C to {ambient:g} C")
    changed = finding.meter is not None or finding.lead_ohms is not None
    healthy = healthy and judged_by(healthy, instrument)
    return Corrected(
        finding, value, instrument if changed else None,
        healthy and verdict_of(healthy, value, instrument), healthy, ", ".join(said),
    )  # fmt: skip


def _is_winding(check: str) -> bool:
    return any(check.startswith(f"{winding}-ohms") for winding in WINDINGS) or (
        check == "pull-to-hold-ohms"
    )


def judged_by(band: Band, instrument: Instrument) -> Band:
    """Return the band of good machines, in doubt where the meter is too coarse for it.

    A reading inside is accepted as it stands only if the meter could tell one in the middle to be
    inside (simple acceptance with a limit on the uncertainty, JCGM 106:2012 clause 8, from memory).
    """
    if band.open or band.high is None:
        return band
    middle = (band.low + band.high) / 2
    coarse = _chance_inside(band, middle, instrument) < SURE
    return band.doubted("meter" if coarse else None)


def verdict_of(band: Band, value: float, instrument: Instrument) -> str:
    """Return good, low, high or cannot-say: a reading against the band of good machines.

    Good is exactly what lies inside the band, as printed, that carries no doubt. Outside, and in a
    doubtful band, the meter decides whether the reading can be told to lie outside.
    """
    if band.open:
        return "low"
    if band.holds(value):
        return "good" if band.doubt is None else "cannot-say"
    if _chance_inside(band, value, instrument) > 1 - SURE:
        return "cannot-say"
    return "low" if value < band.low else "high"


def _chance_inside(band: Band, value: float, instrument: Instrument) -> float:
    """Return the chance that the true value is within the band, from the meter alone."""
    # a meter stated as exact, or one that reads zero without counts, still has some uncertainty
    u = max(math.sqrt(float(instrument.variance(np.array([value]))[0])), LEAST_U)
    return float(meter.conformance_probability(value, u, band.low, band.high))


def finding_view(corrected: Corrected) -> FindingView:
    """Return what the rules see of a finding."""
    finding = corrected.finding
    attributes: dict[str, Any] = {
        "measured_to": finding.measured_to, "plug": finding.plug, "moment": finding.moment,
        "side": finding.side, "lead_ohms": finding.lead_ohms, "celsius": finding.celsius,
        "meter": "given" if finding.meter is not None else None,
        "circumstances": finding.circumstances or None,
    }  # fmt: skip
    return FindingView(
        finding.index, finding.check, finding.outcome, finding.value, corrected.verdict,
        tuple((key, value) for key, value in attributes.items() if value is not None),
    )  # fmt: skip


def case_view(request: Request, corrected: Sequence[Corrected]) -> CaseView:
    """Return what the rules see of the case before any belief."""
    machine = request.machine
    sides = {one.side for one in request.findings if one.side}
    fields = {
        "duty": machine.duty, "control": machine.control, "coil": machine.coil,
        "system_volts": machine.system_volts, "fuel_actuation": machine.fuel_actuation,
        "fuse_amps": machine.fuse_amps, "pull_ohms": machine.pull_ohms,
        "hold_ohms": machine.hold_ohms, "ambient_celsius": machine.ambient_celsius,
        "solenoids": request.solenoids or (2 if sides else None),
    }  # fmt: skip
    return CaseView(fields, tuple(finding_view(one) for one in corrected))


@dataclass
class Effects:
    """What the qualify rules do to the case."""

    shares: dict[int, float] = field(default_factory=dict)
    set_aside: list[dict[str, Any]] = field(default_factory=list)
    weakened: list[dict[str, Any]] = field(default_factory=list)
    shifts: dict[str, float] = field(default_factory=dict)
    shifted_by: dict[str, list[str]] = field(default_factory=dict)
    dropped_causes: list[str] = field(default_factory=list)
    dropped_checks: list[str] = field(default_factory=list)
    out_of_scope: str | None = None


def effects_of(knowledge: Knowledge, view: CaseView, firings: Sequence[Firing]) -> Effects:
    """Collect what the rules that fired do, in their fixed order."""
    effects = Effects()
    concluded = frozenset(
        fact
        for firing in firings
        for action in knowledge.programs[firing.rule].actions
        if action.kind == "conclude"
        for fact in action.about
    )
    for firing in firings:
        rule, program = knowledge.rules[firing.rule], knowledge.programs[firing.rule]
        because = f"{rule.because.found} {rule.because.points}"
        for action in program.actions:
            if action.kind in ("set_aside", "weaken"):
                keep = 0.0 if action.kind == "set_aside" else action.keep
                for index in _targets(program, action.about, view, concluded):
                    _discount(effects, index, keep, rule)
            elif action.kind == "shift":
                weighed = _weighed_by_tables(knowledge, view, firings, firing)
                for cause, factor in action.factors:
                    if cause in weighed:
                        continue
                    effects.shifts[cause] = effects.shifts.get(cause, 1.0) * factor
                    effects.shifted_by.setdefault(cause, []).append(rule.id)
            elif action.kind == "drop_causes":
                effects.dropped_causes += action.about
            elif action.kind == "drop_checks":
                effects.dropped_checks += action.about
            elif action.kind == "out_of_scope":
                effects.out_of_scope = f"{because} {rule.because.next}"
    return effects


def findings_behind(knowledge: Knowledge, firings: Sequence[Firing], firing: Firing) -> list[int]:
    """Return the findings that a firing rests on, through other rules' conclusions too."""
    found, seen, todo = set(firing.findings), {firing.rule}, list(firing.facts)
    while todo:
        fact = todo.pop()
        for other in firings:
            actions = knowledge.programs[other.rule].actions
            makes = any(one.kind == "conclude" and fact in one.about for one in actions)
            if makes and other.rule not in seen:
                seen.add(other.rule)
                found.update(other.findings)
                todo += other.facts
    return sorted(found)


def _weighed_by_tables(
    knowledge: Knowledge, view: CaseView, firings: Sequence[Firing], firing: Firing
) -> set[str]:
    """Return the causes that the tables of the findings behind a firing weigh already.

    A finding speaks once: shifting those causes as well would count it twice.
    """
    behind = set(findings_behind(knowledge, firings, firing))
    checks = {one.check for one in view.findings if one.index in behind}
    tables = [knowledge.checks[name].outcomes for name in checks]
    return {row.split("/")[0] for table in tables if table is not None for row in table.given}


def _targets(
    program: Program, checks: Sequence[str], view: CaseView, concluded: frozenset[str]
) -> list[int]:
    """Return the findings that an action on checks hits.

    Those that the rule's own tests of these checks matched; all of a check that the rule does not
    test (it then speaks of a finding because of something else). Of several findings of one check
    only those are hit for which the rule holds without the others, if there are such.
    """
    hit: list[int] = []
    for check in checks:
        tests = [
            test
            for test in program.walk()
            if isinstance(test, FindingTest) and check in test.checks and not test.absent
        ]
        found = (
            {one for test in tests for one in matching(test, view) if one.check == check}
            if tests
            else set(view.of(check))
        )
        alone = {one for one in found if _holds_alone(program, one, view, concluded)}
        hit += [one.index for one in alone or found]
    return sorted(set(hit))


def _holds_alone(
    program: Program, finding: FindingView, view: CaseView, concluded: frozenset[str]
) -> bool:
    """Return whether a rule holds when a finding is the only one of its check."""
    if len(view.of(finding.check)) == 1:
        return True
    kept = tuple(one for one in view.findings if one.check != finding.check or one is finding)
    narrowed = replace(view, findings=kept)
    return all(holds(test, narrowed, concluded) for test in program.conditions)


def _discount(effects: Effects, index: int, keep: float, rule: items.Rule) -> None:
    """Lower a finding's share; say once a rule why."""
    entry = {
        "finding": index,
        "rule": rule.id,
        "because": f"{rule.because.found} {rule.because.points}",
        "instead": rule.because.next,
    }
    effects.shares[index] = min(keep, effects.shares.get(index, 1.0))
    if keep == 0.0:
        effects.set_aside.append(entry)
    else:
        effects.weakened.append({**entry, "keep": keep})


def shares_of(effects: Effects, findings: Sequence[Finding]) -> tuple[float, ...]:
    """Return how much of each finding counts."""
    return tuple(
        0.0 if one.outcome == NOT_KNOWN else effects.shares.get(one.index, 1.0) for one in findings
    )


def with_beliefs(view: CaseView, beliefs: Mapping[str, float]) -> CaseView:
    """Return the view that the conclude stage sees."""
    return replace(view, beliefs=beliefs)
