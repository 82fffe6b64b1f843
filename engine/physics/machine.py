"""The machine that a request is about, and the electrical values that follow from it."""

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from engine.knowledge import items

# Of the coil's rated current (judgement): a good pull is 1.5 times that, which a blade fuse bears
# for a pulse (ISO 8820-3: 0.75 s at 135 %, 0.25 s at 160 %).
LEAST_FUSE = 0.6


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
    # how it is built, as usual as long as nothing was read that depends on it
    hold_drive: str = "steady"
    relay_switched: str = "high"


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
    otherwise: frozenset[str] = frozenset()  # what is built the other way, of items.BUILDS

    @property
    def kind(self) -> tuple[object, ...]:
        """Return what it shares with machines that differ from it in figures alone."""
        return self.circuit.id, self.coil, self.system_volts, self.fuel_actuation, self.otherwise

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
    def share(self) -> float:
        """Return the share of the machines with its circuit that are built so."""
        shares = {name: self.circuit.otherwise(name) for name in items.BUILDS}
        return math.prod(
            one.share if name in self.otherwise else 1.0 - one.share
            for name, one in shares.items() if one
        )  # fmt: skip

    @property
    def chopping(self) -> items.Chopping | None:
        """Return how the hold is chopped; None where it is steady."""
        return self.circuit.chopping if "hold_drive" in self.otherwise else None

    def volts_off(self, phase: str) -> float:
        """Return the volts that chopping takes off the average of the hold in a phase."""
        off = self.chopping.volts_off.get(phase, 0.0) if self.chopping else 0.0
        return off * self.system_volts / 12.0

    def phase_volts(self, part: items.Part) -> list[float]:
        """Return the volts that a part puts in series in each phase of items.PHASES."""
        if self.chopping and self.chopping.part == part.id:
            return [-self.volts_off(phase) for phase in items.PHASES]
        return [part.volts * self.system_volts / 12.0] * len(items.PHASES)

    def volts_tolerance(self, part: items.Part) -> float:
        """Return the relative standard uncertainty of those volts."""
        if self.chopping and self.chopping.part == part.id:
            return self.chopping.tolerance
        return part.volts_tolerance

    def supply_u(self, phase: str) -> float:
        """Return the standard uncertainty of the supply in a phase beyond that of its sources, in
        volts: nobody says whether the engine ran."""
        return self.circuit.phases[phase].supply_u * self.system_volts / 12.0

    def rated_amps(self, winding: str) -> float:
        """Return system volts over the good ``pull`` or ``hold`` winding at 20 C, in amperes."""
        return self.system_volts / (self.pull_ohms if winding == "pull" else self.hold_ohms)


def make_variant(
    machine: Machine, circuit: items.Circuit, coil: str, otherwise: Collection[str] = ()
) -> Variant:
    """Fill in what the machine does not say from the circuit's typical values."""
    said = {"pull-winding": machine.pull_ohms, "hold-winding": machine.hold_ohms}
    factor = circuit.ohms_factor(machine.system_volts)
    usual_pull, usual_hold = ((circuit.parts[part].ohms or 1.0) * factor for part in said)
    pull_ohms = machine.pull_ohms or usual_pull
    # a good machine's fuse carries its coil: as much larger than usual as the coil draws more, and
    # one that is stated smaller than a good pull bears is taken for what just bears it
    usual = circuit.fuse_amps[machine.system_volts] * max(1.0, usual_pull / pull_ohms)
    least = LEAST_FUSE * machine.system_volts / pull_ohms
    return Variant(
        circuit=circuit.with_relay_low() if "relay_switched" in otherwise else circuit,
        coil=coil,
        system_volts=machine.system_volts,
        fuel_actuation=machine.fuel_actuation,
        fuse_amps=max(machine.fuse_amps or usual, least),
        pull_ohms=pull_ohms,
        hold_ohms=machine.hold_ohms or usual_hold,
        ambient_celsius=20.0 if machine.ambient_celsius is None else machine.ambient_celsius,
        stated=frozenset(part for part, ohms in said.items() if ohms is not None),
        otherwise=frozenset(otherwise),
    )
