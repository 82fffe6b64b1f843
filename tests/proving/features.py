"""A machine and its findings as a row of numbers, for a general-purpose classifier."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.proving.data import kb
from tests.proving.kits import findings
from tests.proving.simulator import SimulatedMachine

MISSING = math.nan
OPEN_LOG = math.log10(5e7)
OUTPUTS = {"high": 0.0, "low": 1.0, "steady": 0.0, "chopped": 1.0}
REPLACED = ("solenoid", "relay", "battery", "ground")  # as in world.yaml


class Features:
    """Turns machines with findings into rows: one column an outcome, scaled values, nan missing."""

    def __init__(self, checks: Sequence[str]) -> None:
        """Prepare the columns for these checks."""
        self._checks = list(checks)
        self._outcomes = {
            name: list(kb("checks")[name]["result"].get("outcomes", ())) for name in self._checks
        }

    def row(self, machine: SimulatedMachine, kit: str) -> list[float]:
        """Return one row: what a diagnosis request of a kit holds."""
        told = machine.told
        by_check = {one["check"]: one for one in findings(machine, kit)}
        row = self._machine(told)
        row += [float(machine.replaced == what) for what in REPLACED]
        values = {}
        for check in self._checks:
            one = by_check.get(check, {"outcome": "not-known"})
            if self._outcomes[check]:
                row += [float(one["outcome"] == name) for name in self._outcomes[check]]
            else:
                values[check] = _scaled(one, told)
                row.append(values[check])
                if "ohms" in check:
                    row.append(float(one.get("lead_ohms", 0.3)))
        return row + _differences(values)

    def matrix(self, rows: Sequence[list[float]]) -> NDArray[np.float64]:
        """Return rows as a matrix."""
        return np.array(rows, dtype=float)

    @staticmethod
    def _machine(told: Mapping[str, Any]) -> list[float]:
        factor = (told["system_volts"] / 12.0) ** 2
        return [
            float(told["duty"] == "fuel-shutoff"),
            float(told["control"] == "ignition-timed"),
            float(told["coil"] == "case-ground"),
            float(told["system_volts"]),
            float(told.get("fuel_actuation") == "in-block"),
            float(told.get("fuel_actuation") == "top-plunge"),
            OUTPUTS.get(told.get("relay_switched", ""), MISSING),
            OUTPUTS.get(told.get("hold_drive", ""), MISSING),
            told.get("pull_ohms", MISSING) / factor,
            told.get("hold_ohms", MISSING) / factor,
        ]


def _scaled(one: Mapping[str, Any], told: Mapping[str, Any]) -> float:
    """Return a reading on a 12 V basis; ohms without leads, over the part's, in decades."""
    ratio = float(told["system_volts"]) / 12.0
    if one.get("outcome") == "open":
        return OPEN_LOG
    if "value" not in one:
        return MISSING
    value, unit = float(one["value"]), one["unit"]
    if unit == "V":
        return value / ratio
    if unit == "A":
        kind = "pull" if one["check"].startswith("pull") else "hold"
        usual = {"pull": 0.4, "hold": 23.9}[kind] * ratio**2
        return value * float(told.get(f"{kind}_ohms", usual)) / (12.0 * ratio)
    if unit == "ohm":
        value = max(value - float(one.get("lead_ohms", 0.3)), 0.0) / ratio**2
        for kind in ("pull", "hold"):
            if one["check"].startswith(kind) and f"{kind}_ohms" in told:
                value *= {"pull": 0.4, "hold": 23.9}[kind] * ratio**2 / told[f"{kind}_ohms"]
        return math.log10(value + 0.02)
    return value


def _differences(values: Mapping[str, float]) -> list[float]:
    """Return the drops that a technician would take between neighbouring readings."""
    pairs = (
        ("relay-30-voltage", "relay-87-voltage"), ("relay-87-voltage", "pull-pin-voltage"),
        ("pull-pin-voltage", "ground-side-voltage"), ("fuse-input-voltage", "fuse-output-voltage"),
        ("pull-pin-voltage-unplugged", "pull-pin-voltage"),
        ("hold-pin-voltage-unplugged", "hold-pin-voltage"),
        ("pull-winding-ohms", "winding-to-case-ohms"),
        ("ignition-output-voltage", "key-switch-output-voltage"),
        ("relay-coil-voltage", "timer-output-voltage"),
        ("relay-coil-voltage", "pull-output-voltage"),
        ("relay-30-voltage", "fuse-output-voltage"), ("hold-pin-voltage", "hold-output-voltage"),
        ("cable-drop-negative", "ground-side-voltage"),
    )  # fmt: skip
    return [values.get(one, MISSING) - values.get(other, MISSING) for one, other in pairs]
