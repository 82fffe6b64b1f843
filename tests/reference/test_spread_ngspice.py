"""What good machines share, predicted by loadings, against ngspice run on drawn machines."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from engine import Diagnoser, Knowledge
from engine.physics.hypotheses import Hypothesis, make_cases
from engine.physics.machine import Machine
from engine.physics.model import HEALTHY, variants_of
from engine.physics.prediction import ReadingPrediction
from engine.physics.solution import Situation, solve_situations
from tests.reference import ngspice
from tests.reference.networks import Faulty, island

MACHINES = 200
MOVED = ("battery", "main-cable-positive", "starter")
CHECKS = ("battery-voltage-crank", "cable-drop-positive-crank", "engine-strap-drop")
SMALL = 0.5  # of the tolerance; with all of it what bends makes up to 27 % of a covariance
Figure = Callable[[str], None]


def test_readings_vary_together_as_predicted(
    knowledge: Knowledge, diagnoser: Diagnoser, figure: Figure
) -> None:
    """Battery, cable and starter of 200 good machines moved together, by half their tolerance: the
    covariance of three readings while cranking is within 10 % of the predicted one."""
    machine = Machine("fuel-shutoff", "controller-on-crank", "body-ground")
    variant, where = variants_of(knowledge, machine)[0], Situation("cranking")
    good = Hypothesis("healthy", "healthy", 1.0, ())
    (solution,) = solve_situations([make_cases([good], variant)], [where])
    whole = island(Faulty(variant, good, where, solution, ""))
    drawn = np.random.default_rng(1).standard_normal((MACHINES, len(MOVED)))
    drawn -= drawn.mean(axis=0)  # the draws have the covariance that they are meant to have
    drawn = drawn @ np.linalg.inv(np.linalg.cholesky(np.cov(drawn.T))).T
    spread = {part.id: SMALL * part.tolerance for part in solution.cases.parts}
    islands = []
    for row in drawn:
        moved = {
            name: replace(
                whole.wires[name], ohms=whole.wires[name].ohms * math.exp(z * spread[name])
            )
            for name, z in zip(MOVED, row.tolist(), strict=True)
        }
        islands.append(replace(whole, wires={**whole.wires, **moved}))
    model, loadings, read = diagnoser.models.get(machine), [], []
    healthy = int(np.argmax(model.cause_of == model.causes.index(HEALTHY)))
    answers = ngspice.solve(islands)
    for name in CHECKS:
        prediction, reading = model.predictions[name], knowledge.checks[name].reading
        assert isinstance(prediction, ReadingPrediction)
        assert reading is not None
        loadings.append(SMALL * prediction.loadings.on([f"ohms:{one}" for one in MOVED])[healthy])
        start, end = reading.from_node[variant.coil], reading.to_node[variant.coil]
        read.append([one.volts[start] - one.volts[end] for one in answers])
    predicted, seen = np.array(loadings) @ np.array(loadings).T, np.cov(np.array(read))
    apart = np.abs(seen / predicted - 1).max()
    figure(f"{MACHINES} machines: covariance of three readings at most {apart:.3f} apart")
    assert predicted == pytest.approx(seen, rel=0.1)
