"""Three whole calls in the invented hire yard: what is true of each machine."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Whole:
    """A call: how it starts, what the caller would answer to each check, and what it is."""

    name: str
    fleet_number: str
    machine_type: str
    complaint: str
    digits: str
    truth: dict[str, Any] = field(default_factory=dict)
    cause: str = ""


# The digits: duty, symptom; after the complaint: control, coil, volts, actuation or solenoids and
# side, in the order of the form; last what is at hand.
FUEL_BY_PHONE = Whole(
    "phone only, fuel circuit", "17", "mini excavator", "Turns over and does not catch.",
    "12" + "2" + "0" + "1" + "1" + "1",
    {
        "plunger-action": "no-movement", "relay-click": "heard", "plunger-timing": "never",
        "crank-speed": "normal", "coil-temperature": "too-hot-to-touch",
        "failure-pattern": "always", "recent-work": "none", "fuel-control": "solenoid",
    },
    "pull-winding-open",
)  # fmt: skip
BRAKE_WITH_LAMP = Whole(
    "test lamp, brake circuit with two solenoids", "42", "site dumper",
    "Right wheel stays locked.", "21" + "2" + "2" + "2" + "2" + "1" + "4",
    {
        "brake-display": "shows-released", "plunger-action": "no-movement", "relay-click": "heard",
        "interlock-lamp": "off", "plunger-timing": "never", "lamp-at-pull-pin": "bright",
        "lamp-at-hold-pin": "bright", "ground-jumper": "cures", "fuse-look": "intact",
        "connector-look": "corroded", "plunger-by-hand": "free", "parked-on-slope": "no",
        "recent-work": "pressure-washed", "failure-pattern": "wet-only", "hand-push-hold": "drops",
        "plunger-return": "springs-out", "coil-temperature": "cool", "added-wiring": "none",
        "relay-swap": "no-change", "bench-pull": "pulls-and-holds",
        "lock-look": "present-and-moves",
    },
    "ground-open",
)  # fmt: skip
FULL_KIT_TWO_FAULTS = Whole(
    "full kit, two faults", "8", "rough-terrain forklift", "Does not start since last week.",
    "12" + "2" + "1" + "1" + "1" + "7",
    {
        "plunger-action": "no-movement", "relay-click": "heard", "plunger-timing": "never",
        "crank-speed": "normal", "fuel-control": "solenoid", "recent-work": "long-storage",
        "failure-pattern": "always", "coil-temperature": "cool", "battery-voltage-rest": "12.6 V",
        "battery-voltage-crank": "10.3 V", "fuse-output-voltage": "12.5 V",
        "relay-30-voltage": "10.0 V", "relay-87-voltage": "9.9 V", "relay-coil-voltage": "10.1 V",
        "pull-pin-voltage": "1.2 V", "pull-pin-voltage-unplugged": "10.1 V",
        "pull-current": "2.6 A", "hold-current": "0 A", "hold-pin-voltage": "10.2 V",
        "hold-pin-voltage-unplugged": "10.2 V",
        "pull-winding-ohms": "0.42 ohm", "hold-winding-ohms": "4.9 Mohm",
        "pull-to-hold-ohms": "4.9 Mohm", "ground-side-voltage": "0.05 V",
        "ground-path-ohms": "0.1 ohm", "connector-look": "corroded", "plunger-by-hand": "free",
        "pull-pin-voltage-after": "0 V", "pull-pulse-seconds": "0.8 s", "fuse-look": "intact",
        "hand-push-hold": "drops", "plunger-travel": "bottoms", "plunger-return": "springs-out",
        "cable-drop-positive": "0.1 V", "cable-drop-negative": "0.1 V", "added-wiring": "none",
        "bench-pull": "pulls-then-drops", "harness-pull-to-ground-ohms": "9 Mohm",
    },
)  # fmt: skip
CALLS = (FUEL_BY_PHONE, BRAKE_WITH_LAMP, FULL_KIT_TWO_FAULTS)
