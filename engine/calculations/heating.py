"""How hot a copper winding gets when no heat leaves it: how long a pull may stay on."""

import math

from engine.calculations.copper import (
    REFERENCE_CELSIUS,
    RESISTIVITY_20,
    VOLUMETRIC_HEAT,
    ZERO_RESISTANCE,
    resistance_at,
)
from engine.calculations.guard import above, not_negative, positive


def heat_of_coil(ohms: float, wire_diameter: float, celsius: float = 20.0) -> float:
    """Return in J/K what warms a coil of bare copper wire that has ``ohms`` at ``celsius``.

    ``wire_diameter`` in metres. Raises ValueError for ohms or diameter not above zero. Source:
    R = rho L / A with IEC 60028 resistivity, IEC 60949 heat by volume (from memory).
    """
    area = math.pi * positive("wire_diameter", wire_diameter) ** 2 / 4.0
    length = resistance_at(ohms, celsius, REFERENCE_CELSIUS) * area / RESISTIVITY_20
    return length * area * VOLUMETRIC_HEAT


def constant_voltage_seconds(
    volts: float, ohms: float, heat_capacity: float, from_celsius: float, to_celsius: float
) -> float:
    """Return the seconds a steady voltage takes to warm a winding, its ohms rising as it warms.

    ``ohms`` at ``from_celsius``, ``heat_capacity`` in J/K. Raises ValueError for a figure not above
    zero, or an end that is not hotter. Source: C dT = V^2 / R(T) dt integrated with the copper
    line: t = (C R1 / V^2) (dT + dT^2 / (2 (234.5 + t1))).
    """
    above("from_celsius", from_celsius, -ZERO_RESISTANCE)
    above("to_celsius", to_celsius, from_celsius)
    rise = to_celsius - from_celsius
    scale = positive("heat_capacity", heat_capacity) * positive("ohms", ohms)
    bend = rise**2 / (2.0 * (ZERO_RESISTANCE + from_celsius))
    return scale / positive("volts", volts) ** 2 * (rise + bend)


def constant_voltage_celsius(
    seconds: float, volts: float, ohms: float, heat_capacity: float, from_celsius: float
) -> float:
    """Return the temperature in Celsius of a winding after ``seconds`` at a steady voltage.

    Raises ValueError for negative seconds, or a figure not above zero. Source: the positive root
    of the equation of :func:`constant_voltage_seconds`.
    """
    start = above("from_celsius", from_celsius, -ZERO_RESISTANCE) + ZERO_RESISTANCE
    scale = positive("heat_capacity", heat_capacity) * positive("ohms", ohms)
    warmth = not_negative("seconds", seconds) * positive("volts", volts) ** 2 / scale
    return math.sqrt(start**2 + 2.0 * start * warmth) - ZERO_RESISTANCE
