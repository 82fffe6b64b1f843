"""A reading as it was really done: at another moment, with the plug otherwise, to another point."""

import dataclasses

from engine.knowledge import items
from engine.physics.machine import Variant

# The phases to look through for a moment at which a check is not usually done.
_PLAIN_PHASES = ("running", "cranking", "off", "after-command", "on-command")


@dataclasses.dataclass(frozen=True)
class MeasurementConditions:
    """A check as it was done; None where that is how it is meant to be done."""

    check: str
    moment: str | None = None
    plug: str | None = None
    measured_to: str | None = None


def as_done(
    reading: items.Reading, conditions: MeasurementConditions, variant: Variant
) -> items.Reading | None:
    """Return the reading as it was done; None when it then touches nothing at all.

    A moment that the circuit has no phase for (key-on on a controller type) changes nothing: what
    such a reading is worth is for the rules to say.
    """
    done = reading
    if conditions.moment is not None and reading.quantity in ("voltage", "current"):
        done = dataclasses.replace(done, phase=_phase_at(reading.phase, conditions.moment, variant))
    if conditions.plug is not None and reading.quantity in ("voltage", "current"):
        done = dataclasses.replace(done, plug_fitted=conditions.plug == "fitted")
    probe = variant.circuit.coils[variant.coil].probe
    to_ground = reading.quantity == "resistance" and reading.to_node[variant.coil] in probe.values()
    if conditions.measured_to is not None and to_ground:
        node = probe[conditions.measured_to]
        if node == items.NOWHERE:
            return None
        done = dataclasses.replace(done, to_node={**reading.to_node, variant.coil: node})
    return done


def _phase_at(phase: str, moment: str, variant: Variant) -> str:
    """Return the phase that a reading at ``moment`` was taken in."""
    phases = variant.circuit.phases
    if phases[phase].moment == moment:
        return phase
    return next((one for one in _PLAIN_PHASES if phases[one].moment == moment), phase)
