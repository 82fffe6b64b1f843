"""Machines with makers' coils, which differ twofold: 12 V: pull 0.2 to 0.5 ohm, hold 10 to 35 ohm;
24 V: 0.8 to 2 and 40 to 140 (common practice)."""

import itertools
from typing import Any

import numpy as np
import pytest

from engine import Diagnoser
from engine.physics.model import HEALTHY
from engine.reasoning.request import read_request
from tests.sweeps import swept

CONTROLS = {
    "fuel-shutoff": ("ignition-timed", "controller-on-crank"),
    "brake-release": ("ignition-timed", "controller-on-request"),
}
OHMS = {12: ((0.2, 0.5), (10.0, 35.0)), 24: ((0.8, 2.0), (40.0, 140.0))}
COMPLAINT = {"fuel-shutoff": "engine-response", "brake-release": "brake-response"}
MACHINES = [
    ({"duty": duty, "control": control, "coil": "case-ground", "system_volts": volts}, pull, hold)
    for duty, controls in CONTROLS.items()
    for control, volts in itertools.product(controls, OHMS)
    for pull, hold in itertools.product(*OHMS[volts])
]


def healthy_readings(
    diagnoser: Diagnoser, machine: dict[str, Any], pull: float, hold: float
) -> dict[str, float]:
    """Return what a good machine with this coil reads."""
    stated = {**machine, "pull_ohms": pull, "hold_ohms": hold}
    request = read_request({"machine": stated, "findings": []}, diagnoser.knowledge)
    model = diagnoser.models.get(request.machine)
    good = int(np.argmax(model.prior * (model.cause_of == model.causes.index(HEALTHY))))
    return {
        check: float(model.predictions[check].mu[good])  # type: ignore[union-attr]
        for check in ("pull-current", "hold-current", "pull-pin-voltage")
    }


@pytest.mark.parametrize(("machine", "pull", "hold"), swept(MACHINES, 9))
def test_a_good_machine_with_a_makers_coil_is_called_good(
    diagnoser: Diagnoser, machine: dict[str, Any], pull: float, hold: float
) -> None:
    """Its coil stated, its fuse carries it; not stated, it still is healthy first and handed back,
    unless a winding has half its belief; and nobody is told to repair anything."""
    reads = healthy_readings(diagnoser, machine, pull, hold)
    volts = machine["system_volts"]
    assert reads["pull-pin-voltage"] > 0.6 * volts
    assert reads["pull-current"] > 0.5 * volts / pull
    units = {"pull-current": "A", "hold-current": "A", "pull-pin-voltage": "V"}
    findings: list[dict[str, Any]] = [
        {"check": COMPLAINT[machine["duty"]], "outcome": "normal"},
        {"check": "failure-pattern", "outcome": "always"},
        {"check": "plunger-action", "outcome": "pulls-and-stays"},
        *({"check": one, "value": value, "unit": units[one]} for one, value in reads.items()),
    ]
    answer = diagnoser.diagnose({"machine": machine, "findings": findings})
    leader = answer["causes"][0]
    assert leader["id"] == HEALTHY
    half = diagnoser.knowledge.thresholds.leads
    clear = answer["causes"][1]["probability"] < half * leader["probability"]
    given_back = clear or leader["probability"] >= half
    assert answer["advice"]["do"] in ({"hand-over"} if given_back else {"hand-over", "check"})


@pytest.mark.parametrize("fuse", [1, 10, 15, 30])
def test_a_stated_fuse_does_not_open_in_a_good_machine(diagnoser: Diagnoser, fuse: int) -> None:
    """A slip, or a weaker coil than usual: a blown fuse is still the fuse's or a short's."""
    machine = {
        "duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground",
        "fuse_amps": fuse,
    }  # fmt: skip
    assert healthy_readings(diagnoser, machine, 0.36, 20.0)["pull-pin-voltage"] > 7.2
    blown = [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "fuse-look", "outcome": "blown"},
    ]
    answer = diagnoser.diagnose({"machine": machine, "findings": blown})
    shorts = {"fuse-open", "pull-winding-shorted", "pull-wire-shorted-to-ground"}
    assert {one["id"] for one in answer["causes"][:3]} == shorts
