"""What was put right between findings: which older findings a repair can have changed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.physics.circuit import Floats
from engine.physics.model import HEALTHY, Model
from engine.reasoning.observe import Observation
from engine.reasoning.request import Done

CHANGED_FROM = 0.1  # total variation between the results with the fault and without it; judgement


@dataclass(frozen=True)
class Superseded:
    """A finding from before a repair that can have changed it, and why it no longer counts."""

    finding: int
    done: str
    because: str


def superseded(
    model: Model, observations: Sequence[Observation], done: Sequence[Done]
) -> tuple[Superseded, ...]:
    """Return the findings that a later repair can have changed, in the order of the findings."""
    found = []
    for one in observations:
        index = one.finding.index
        later = next(
            (act for act in done if index <= act.after and _changes(model, one, act.causes)), None
        )
        if later is not None:
            because = (
                f"It was found before this was put right: {later.words}. "
                "That can have changed it, so it no longer counts."
            )
            found.append(Superseded(index, later.words, because))
    return tuple(found)


def _changes(model: Model, observation: Observation, causes: Sequence[str]) -> bool:
    """Return whether the finding is predicted otherwise with one of the faults than without."""
    bins = observation.prediction.bins
    good = _good(model, bins)
    return any(
        np.abs(bins[n] - good[model.variant_of[n]]).sum() / 2 > CHANGED_FROM
        for cause in causes if cause in model.causes
        for n in np.flatnonzero(model.cause_of == model.causes.index(cause))
    )  # fmt: skip


def _good(model: Model, bins: Floats) -> Floats:
    """Return what the healthy circuit gives on each variant, shape (variant, result)."""
    healthy = model.cause_of == model.causes.index(HEALTHY)
    rows = []
    for variant in range(len(model.variants)):
        weights = model.prior * (healthy & (model.variant_of == variant))
        rows.append(weights @ bins / max(float(weights.sum()), 1e-300))
    return np.stack(rows)
