"""Every machine there is, and the words that a caution of each hazard must have."""

import itertools
import re
from collections.abc import Iterator, Sequence

from engine.knowledge import Knowledge, items
from engine.physics.machine import Machine, Variant, make_variant
from engine.rules.views import CaseView

# Some caution of a step with the hazard says this, whatever rule it comes from.
MUST_SAY = {
    "cranks": r"engine turns.*may start.*neutral.*clear of",
    "energises": r"(energized|jumps).*(hands|key|command)",
    "releases-brake": r"brake is released.*chocks",
    "opens-fuel": r"fuel.*comes out.*eye protection.*flame",
    "live": r"live.*insulated.*no rings",
    "ohms": r"key off.*plug off.*battery negative off",
    "jumper": r"jumper lead.*fuse.*solenoid first.*battery last",
    "plunger": r"plunger moves.*fingers out",
    "hot": r"hot.*do not touch.*cool",
    "hand-energise": r"under one second.*half a minute",
    "under-machine": r"under the machine.*(stands|support).*do not go under",
    "interlock": r"interlock.*read.*never bridged",
    "battery": r"batter.*negative off first",
    "moving": r"(move|turn).*(sleeves|reaches in)",
    "pressurised": r"under pressure.*release the pressure.*never with a hand",
}


def variants(knowledge: Knowledge) -> Iterator[Variant]:
    """Yield the sixteen machines: four circuits, two coil styles, 12 and 24 V."""
    for circuit, coil, volts in itertools.product(
        knowledge.circuits.values(), items.COILS, items.SYSTEM_VOLTS
    ):
        machine = Machine(circuit.duty, circuit.control, coil, volts)
        yield make_variant(machine, circuit, coil)


def name_of(variant: Variant) -> str:
    """Return a readable name of a machine."""
    return f"{variant.circuit.id}-{variant.coil}-{variant.system_volts}"


def case_of(variant: Variant) -> CaseView:
    """Return a case on a machine of which nothing is found yet."""
    return CaseView({
        "duty": variant.circuit.duty, "control": variant.circuit.control, "coil": variant.coil,
        "system_volts": variant.system_volts,
    })  # fmt: skip


def lacking(hazards: frozenset[str], texts: Sequence[str], duty: str) -> set[str]:
    """Return the hazards of which no text says what it must; those of the other duty apart."""
    other = "releases-brake" if duty == "fuel-shutoff" else "opens-fuel"
    return {
        hazard
        for hazard in hazards - {other}
        if not any(re.search(MUST_SAY[hazard], text, re.IGNORECASE) for text in texts)
    }
