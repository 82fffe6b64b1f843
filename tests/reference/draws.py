"""Random machines and random findings: a seed in, the same draw out."""

import random
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any

import numpy as np

from engine import Knowledge
from engine.knowledge import items
from engine.physics.band import OPEN_OHMS
from engine.physics.circuit import Floats
from engine.physics.machine import Machine
from engine.physics.model import Model
from engine.physics.prediction import OutcomePrediction, Prediction, ReadingPrediction

CIRCUITS = (
    ("fuel-shutoff", "ignition-timed"),
    ("fuel-shutoff", "controller-on-crank"),
    ("brake-release", "ignition-timed"),
    ("brake-release", "controller-on-request"),
)
MACHINE_KINDS = tuple(product(CIRCUITS, items.COILS, items.SYSTEM_VOLTS))


def generator(seed: int) -> random.Random:
    """Return a generator of random numbers that a seed fixes."""
    return random.Random(seed)  # noqa: S311 - no secret


def machine(rng: random.Random, kind: Any = None, unknowns: bool = False) -> Machine:
    """Return a machine of a kind (circuit, coil, volts), what else is known of it drawn."""
    (duty, control), coil, volts = kind or rng.choice(MACHINE_KINDS)
    if unknowns:
        control = rng.choice([control, control, "unknown"])
        coil = rng.choice([coil, "unknown"])
    ohms = (volts / 12) ** 2
    return Machine(
        duty, control, coil, volts,
        fuel_actuation=rng.choice([None, *items.ACTUATIONS]) if duty == "fuel-shutoff" else None,
        fuse_amps=rng.choice([None, 15.0, 20.0, 25.0, 30.0]),
        pull_ohms=rng.choice([None, round(rng.uniform(0.25, 0.6) * ohms, 3)]),
        hold_ohms=rng.choice([None, round(rng.uniform(15, 40) * ohms, 1)]),
        ambient_celsius=rng.choice([None, round(rng.uniform(-20, 45))]),
    )  # fmt: skip


def as_request(one: Machine) -> dict[str, Any]:
    """Return a machine as a request states it."""
    return {name: value for name, value in vars(one).items() if value is not None}


def finding(
    rng: random.Random, knowledge: Knowledge, model: Model, check: str, truth: int | None
) -> dict[str, Any]:
    """Return a finding of a check: as hypothesis ``truth`` would give it, or anything at all."""
    prediction = model.predictions[check]
    found: dict[str, Any] = {"check": check}
    if rng.random() < 0.03:
        return found | {"outcome": "not-known"}
    if isinstance(prediction, OutcomePrediction):
        weights = None if truth is None else prediction.shares[truth].tolist()
        return found | {"outcome": rng.choices(prediction.names, weights)[0]}
    reading = knowledge.checks[check].reading
    assert reading is not None
    found |= _read(rng, prediction, reading, truth)
    if "value" in found and rng.random() < 0.2:
        found["meter"] = {"percent": 1.0, "counts": 3, "resolution": 0.01}
    return found


def _read(
    rng: random.Random, prediction: Prediction, reading: items.Reading, truth: int | None
) -> dict[str, Any]:
    assert isinstance(prediction, ReadingPrediction)
    scale, low, high = prediction.scale, reading.low, min(reading.high, OPEN_OHMS)
    if truth is None or prediction.flat[truth]:
        if reading.unit == "ohm" and rng.random() < 0.2:
            return {"outcome": "open"}
        value = float(scale.back(rng.uniform(float(scale.of(low)), float(scale.of(high)))))
    elif prediction.open[truth]:
        return {"outcome": "open"}
    else:
        spread = float(prediction.default_sigma[truth])
        value = float(scale.back(rng.gauss(float(scale.of(prediction.mu[truth])), spread)))
    floor = max(low, 0.0) if reading.unit in ("ohm", "s") else low
    return {"value": round(min(max(value, floor), high), 4), "unit": reading.unit}


def findings(
    rng: random.Random, knowledge: Knowledge, model: Model, count: int
) -> list[dict[str, Any]]:
    """Return findings: half the time as one hypothesis gives them, else without sense."""
    truth = rng.choices(range(len(model.hypotheses)), model.prior.tolist())[0]
    sensible = rng.random() < 0.5
    checks = rng.choices(sorted(model.predictions), k=count)
    return [finding(rng, knowledge, model, one, truth if sensible else None) for one in checks]


def inside_tolerance(
    rng: np.random.Generator, healthy: Floats, tolerances: Sequence[float]
) -> Floats:
    """Return ohms (or volts) moved as from one good machine to another; the first axis is parts."""
    steps = np.clip(rng.standard_normal(len(healthy)), -2, 2) * np.array(tolerances)
    moved: Floats = healthy * np.exp(steps)[:, None, None]
    return moved


def cycle(things: Sequence[Any], rng: random.Random) -> Iterator[Any]:
    """Yield every thing in turn, in a drawn order, over and over."""
    while True:
        yield from rng.sample(things, len(things))
