"""Requests that the benchmarks share: eight findings on each circuit, and longer ones."""

from typing import Any

EIGHT: dict[str, dict[str, Any]] = {
    "fuel, controller": {
        "machine": {
            "duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground",
        },
        "findings": [
            {"check": "engine-response", "outcome": "cranks-no-start"},
            {"check": "relay-click", "outcome": "heard"},
            {"check": "plunger-action", "outcome": "no-movement"},
            {"check": "fuse-look", "outcome": "intact"},
            {"check": "battery-voltage-crank", "value": 10.4, "unit": "V"},
            {"check": "pull-pin-voltage", "value": 9.9, "unit": "V"},
            {"check": "pull-winding-ohms", "value": 0.6, "unit": "ohm", "lead_ohms": 0.2},
            {"check": "ground-side-voltage", "value": 5.2, "unit": "V"},
        ],
    },
    "brake, timed": {
        "machine": {
            "duty": "brake-release", "control": "ignition-timed", "coil": "case-ground",
            "system_volts": 24,
        },
        "findings": [
            {"check": "brake-response", "outcome": "releases-then-drops"},
            {"check": "plunger-action", "outcome": "pulls-then-drops"},
            {"check": "coil-temperature", "outcome": "cool"},
            {"check": "recent-work", "outcome": "pressure-washed"},
            {"check": "hold-pin-voltage", "value": 24.1, "unit": "V"},
            {"check": "hold-current", "value": 10, "unit": "mA"},
            {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
            {"check": "pull-pin-voltage-after", "value": 0.0, "unit": "V"},
        ],
    },
}  # fmt: skip


def longer(count: int) -> dict[str, Any]:
    """Return a request with ``count`` findings, the eight of one circuit over and over."""
    base = EIGHT["fuel, controller"]
    findings = [base["findings"][n % 8] for n in range(count)]
    return {"machine": base["machine"], "findings": findings}
