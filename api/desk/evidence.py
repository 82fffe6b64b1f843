"""The evidence for and against a cause as the page shows it: words, and a picture of each."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from api.answers.text import strength
from api.desk import bands
from api.interview.desk import Desk
from api.interview.state import Inquiry
from engine.physics.band import OPEN_OHMS
from engine.physics.conditions import MeasurementConditions
from engine.physics.model import HEALTHY, Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.observe import Observation, observe
from engine.reasoning.request import NOT_KNOWN, OPEN, read_request

LEAST_DB = 0.5  # lighter findings say nothing to a person
_SAYS = {"for": "speaks for it", "against": "speaks against it"}


@dataclass(frozen=True)
class Piece:
    """One finding that bears on a cause."""

    name: str
    direction: str
    strength: str
    observed: str
    if_cause: str
    if_healthy: str
    because: str
    picture: str | None
    chances: tuple[float, float] | None

    @property
    def says(self) -> str:
        """Return which way it speaks, in words."""
        return _SAYS[self.direction]


def pieces(case: Inquiry, desk: Desk, entry: Mapping[str, Any]) -> list[Piece]:
    """Return what bears on a cause of the answer, the weightiest first."""
    request = read_request(case.request_behind(), desk.knowledge)
    model = desk.diagnoser.models.get(request.machine)
    found = {one.index: observe(model, one) for one in request.findings}
    return [
        _piece(row, entry["id"], found[row["finding"]], model, desk)
        for row in entry["evidence"]
        if abs(row["weight_db"]) >= LEAST_DB
    ]


def _piece(
    row: Mapping[str, Any], cause: str, corrected: Observation, model: Model, desk: Desk
) -> Piece:
    finding = corrected.finding
    drawn = row["basis"].startswith("rule:") or finding.outcome == NOT_KNOWN
    outcome = None if drawn else _chances(model, cause, corrected)
    check = desk.knowledge.checks[row["check"]]
    observed = row["observed"]
    if check.outcomes is not None and finding.outcome is not None:
        observed = check.outcomes.words.get(finding.outcome, observed)
    return Piece(
        check.name, row["direction"], strength(row["weight_db"]), observed,
        row["expected_if_cause"], row["expected_if_healthy"], row["because"],
        None if drawn or outcome else _picture(row, cause, corrected, model), outcome,
    )  # fmt: skip


def _chances(model: Model, cause: str, corrected: Observation) -> tuple[float, float] | None:
    """Return how often the outcome is seen with the cause and on a healthy circuit."""
    finding = corrected.finding
    prediction = corrected.prediction
    if not isinstance(prediction, OutcomePrediction) or finding.outcome is None:
        return None
    seen = prediction.likelihood(finding.outcome)
    return _share(model, cause, seen), _share(model, HEALTHY, seen)


def _share(model: Model, cause: str, seen: Any) -> float:
    prior = np.where(model.cause_of == model.causes.index(cause), model.prior, 0.0)
    return float(prior @ seen / max(prior.sum(), 1e-300))


def _picture(
    row: Mapping[str, Any], cause: str, corrected: Observation, model: Model
) -> str | None:
    """Return the two bands with the reading on them."""
    asked = corrected.conditions
    label = (
        f"Observed {row['observed']}. This cause gives {row['expected_if_cause']}, a healthy "
        f"circuit {row['expected_if_healthy']}."
    )
    unit = getattr(model.prediction(asked), "unit", "")
    value = None if corrected.finding.outcome == OPEN else corrected.value
    return bands.svg(
        _band(model, asked, cause), _band(model, asked, HEALTHY), value, unit, label
    )  # fmt: skip


def _band(model: Model, asked: MeasurementConditions, cause: str) -> tuple[float, float] | None:
    """Return a band's limits; None is open."""
    band = model.band(asked, cause)
    if band.open:
        return None
    return band.low, OPEN_OHMS if band.high is None else band.high
