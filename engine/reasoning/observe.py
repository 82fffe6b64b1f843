"""Findings as they are weighed: a reading corrected for leads and temperature, and its verdict."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from engine.calculations import copper, meter
from engine.knowledge import items
from engine.physics.band import Band
from engine.physics.conditions import MeasurementConditions
from engine.physics.model import HEALTHY, Model
from engine.physics.prediction import LEAD_ZEROED_U, Instrument, Prediction, ReadingPrediction
from engine.reasoning.request import AS_STATED, NOT_KNOWN, OPEN, TOLD, Finding, Request
from engine.rules.views import CaseView, FindingView

SURE = 0.9  # conformance probability from which a verdict is given (JCGM 106:2012 for the idea)
LEAST_U = 1e-6  # in the unit of the reading
OF_WINDINGS = ("pull-winding-ohms", "hold-winding-ohms", "pull-to-hold-ohms")


@dataclass(frozen=True)
class Observation:
    """A finding as it was done, with what was predicted of it, the value that is weighed, and more.

    ``meter`` None stands for the check's usual instrument; ``healthy`` is the band that the verdict
    is by, None where there is no verdict; ``said`` what was done to the value.
    """

    finding: Finding
    conditions: MeasurementConditions
    prediction: Prediction
    value: float | None = None
    meter: Instrument | None = None
    verdict: str | None = None
    healthy: Band | None = None
    said: str = ""


def observe(model: Model, finding: Finding) -> Observation:
    """Correct a reading for leads and temperature and give its verdict."""
    conditions = MeasurementConditions(
        finding.check, finding.moment, finding.plug, finding.measured_to
    )
    prediction = model.prediction(conditions)
    plain = Observation(finding, conditions, prediction)
    if not isinstance(prediction, ReadingPrediction) or finding.outcome == NOT_KNOWN:
        return plain
    healthy = None if prediction.flat.all() else model.band(conditions, HEALTHY)
    if finding.outcome == OPEN or finding.value is None:
        if healthy is None:
            return plain
        verdict = "good" if healthy.high is None else "open"
        return replace(plain, verdict=verdict, healthy=healthy)
    value, instrument, said = _corrected(
        finding.value, finding, prediction, model.variants[0].ambient_celsius
    )
    changed = finding.meter is not None or finding.lead_ohms is not None
    plain = replace(
        plain, value=value, meter=instrument if changed else None, said=", ".join(said)
    )  # fmt: skip
    if healthy is None:
        return plain
    healthy = judged_by(healthy, instrument)
    return replace(plain, verdict=verdict_of(healthy, value, instrument), healthy=healthy)


def _corrected(
    value: float, finding: Finding, prediction: ReadingPrediction, ambient: float
) -> tuple[float, Instrument, list[str]]:
    """Return a value without leads and at ambient temperature, its meter, and what was done."""
    said = []
    instrument = finding.meter or prediction.instrument
    if finding.lead_ohms is not None:
        value = max(value - finding.lead_ohms, 0.0)
        said.append(f"{finding.lead_ohms:g} ohm of leads taken off")
        instrument = replace(instrument, lead_u=LEAD_ZEROED_U)
    elif finding.meter is not None and prediction.unit == "ohm":
        instrument = replace(instrument, lead_u=prediction.instrument.lead_u)
    if finding.celsius is not None and finding.check.startswith(OF_WINDINGS):
        value = float(copper.resistance_at(value, finding.celsius, ambient)) if value else 0.0
        said.append(f"referred from {finding.celsius:g} C to {ambient:g} C")
    return value, instrument, said


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


def case_view(request: Request, observations: Sequence[Observation]) -> CaseView:
    """Return what the rules see of the case before any belief."""
    sides = {finding.side for finding in request.findings if finding.side}
    fields = vars(request.machine) | {name: request.told.get(name) for name in TOLD}
    fields["solenoids"] = request.solenoids or (2 if sides else None)
    for name, (usual, _) in items.BUILDS.items():
        if getattr(request.machine, name) != usual:  # what readings tell of it nobody has said
            fields[name] = request.told.get(name, "unknown")
    return CaseView(fields, tuple(_finding_view(observation) for observation in observations))


def _finding_view(observation: Observation) -> FindingView:
    finding = observation.finding
    attributes: dict[str, Any] = {key: getattr(finding, key) for key in AS_STATED} | {
        "meter": "given" if finding.meter is not None else None,
        "circumstances": finding.circumstances or None, "while": finding.provoked,
    }  # fmt: skip
    return FindingView(
        finding.index, finding.check, finding.outcome, finding.value, observation.verdict,
        tuple((key, value) for key, value in attributes.items() if value is not None),
    )  # fmt: skip
