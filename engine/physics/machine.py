"""The machine that a request is about, and the electrical values that follow from it."""

from dataclasses import dataclass
from typing import Any

from engine.calculations import copper
from engine.knowledge import items


@dataclass(frozen=True)
class Machine:
    """One machine. ``None`` stands for *not said*: then the circuit's typical value is taken."""

    duty: str
    control: str
    coil: str
    system_volts: int = 12
    fuel_actuation: str | None = None
    fuse_amps: float | None = None
    pull_ohms: float | None = None
    hold_ohms: float | None = None
    ambient_celsius: float | None = None


@dataclass(frozen=True)
class Variant:
    """One circuit and coil style that the machine may have, with everything said filled in."""

    circuit: items.Circuit
    coil: str
    system_volts: int
    fuel_actuation: str | None
    fuse_amps: float
    pull_ohms: float
    hold_ohms: float
    ambient_celsius: float
    stated: frozenset[str] = frozenset()  # windings whose good ohms the request gave

    @property
    def facts(self) -> dict[str, Any]:
        """Return what decides which causes and checks it can have (see items.applies)."""
        return {
            "circuit": self.circuit, "coil": self.coil, "system_volts": self.system_volts,
            "fuel_actuation": self.fuel_actuation,
        }  # fmt: skip

    def ohms_factor(self, kind: str) -> float:
        """Return what the 12 V ohms of a kind of part are multiplied by."""
        return self.circuit.ohms_factor(self.system_volts, kind)

    def tolerance(self, part: items.Part) -> float:
        """Return the relative standard uncertainty of a part's ohms on this machine."""
        if part.unstated_tolerance is None or part.id in self.stated:
            return part.tolerance
        return part.unstated_tolerance

    @property
    def rated_pull_amps(self) -> float:
        """Return system volts over the good pull winding at 20 C, in amperes."""
        return self.system_volts / self.pull_ohms

    @property
    def rated_hold_amps(self) -> float:
        """Return system volts over the good hold winding at 20 C, in amperes."""
        return self.system_volts / self.hold_ohms

    @property
    def copper_factor(self) -> float:
        """Return the resistance of copper at ambient temperature over that at 20 C."""
        return float(copper.resistance_at(1.0, 20.0, self.ambient_celsius))


def make_variant(machine: Machine, circuit: items.Circuit, coil: str) -> Variant:
    """Fill in what the machine does not say from the circuit's typical values."""
    parts = circuit.parts

    def typical(part: str) -> float:
        ohms = parts[part].ohms
        return (ohms or 1.0) * circuit.ohms_factor(machine.system_volts)

    return Variant(
        circuit=circuit,
        coil=coil,
        system_volts=machine.system_volts,
        fuel_actuation=machine.fuel_actuation,
        fuse_amps=machine.fuse_amps or circuit.fuse_amps[machine.system_volts],
        pull_ohms=machine.pull_ohms or typical("pull-winding"),
        hold_ohms=machine.hold_ohms or typical("hold-winding"),
        ambient_celsius=20.0 if machine.ambient_celsius is None else machine.ambient_celsius,
        stated=frozenset(
            part
            for part, ohms in (
                ("pull-winding", machine.pull_ohms),
                ("hold-winding", machine.hold_ohms),
            )
            if ohms is not None
        ),
    )
