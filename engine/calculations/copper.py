"""Copper: its resistance at a temperature, what wires lose, how hot a winding gets.

Source of the law: R2 / R1 = (t2 + k) / (t1 + k), IEC 60034-1 clause 8.6.2 (from memory), with k the
zero-resistance temperature of copper below 0 C.
"""

import math

from engine.calculations import Quantity

RESISTIVITY_20 = 1.7241e-8
"""Resistivity of annealed copper at 20 C, ohm m (IEC 60028:1925)."""

ZERO_RESISTANCE = 234.5
"""Degrees below 0 C at which the straight line reaches zero ohms (NBS Handbook 100)."""

DENSITY = 8890.0
"""Density of annealed copper at 20 C, kg/m3 (IEC 60028, from memory)."""

VOLUMETRIC_HEAT = 3.45e6
"""Heat capacity of copper by volume, J/(K m3) (IEC 60949, from memory)."""

REFERENCE_CELSIUS = 20.0


def resistance_at(ohms: Quantity, from_celsius: Quantity, to_celsius: Quantity) -> Quantity:
    """Return in ohm what copper of ``ohms`` at ``from_celsius`` has at ``to_celsius``.

    Temperatures above -234.5 C, where the law has no ohms left. Source: IEC 60034-1 clause 8.6.2,
    straight-line law.
    """
    return ohms * (to_celsius + ZERO_RESISTANCE) / (from_celsius + ZERO_RESISTANCE)


def ohms_per_metre(area: float) -> float:
    """Return the ohms per metre of solid copper of ``area`` m2 at 20 C.

    Source: resistivity of IEC 60028:1925 over area.
    """
    return RESISTIVITY_20 / area


def feed_ohms(
    metres: float, ohms_per_metre_at_20: float, celsius: float = REFERENCE_CELSIUS
) -> float:
    """Return the ohms of ``metres`` of wire at ``celsius``, from its ohms per metre at 20 C.

    Source: length times resistance per length, as :mod:`.copper` at temperature.
    """
    return metres * resistance_at(ohms_per_metre_at_20, REFERENCE_CELSIUS, celsius)


def feed_drop(
    amperes: float,
    metres: float,
    ohms_per_metre_at_20: float,
    celsius: float = REFERENCE_CELSIUS,
) -> float:
    """Return the volts lost along ``metres`` of wire (there and back when it is a loop).

    Source: Ohm's law.
    """
    return amperes * feed_ohms(metres, ohms_per_metre_at_20, celsius)


def highest_ohms_per_metre(
    amperes: float, metres: float, drop_volts: float, celsius: float = REFERENCE_CELSIUS
) -> float:
    """Return the ohms per metre at 20 C that a wire may have so that it loses ``drop_volts``.

    The wire carries ``amperes`` at ``celsius``. Source: Ohm's law; the inverse of
    :func:`feed_drop`.
    """
    return resistance_at(drop_volts / (amperes * metres), celsius, REFERENCE_CELSIUS)


def heat_of_coil(ohms: float, wire_diameter: float, celsius: float = 20.0) -> float:
    """Return in J/K what warms a coil of bare copper wire that has ``ohms`` at ``celsius``.

    ``wire_diameter`` in metres. Source: R = rho L / A with IEC 60028 resistivity, IEC 60949 heat
    by volume (from memory).
    """
    area = math.pi * wire_diameter**2 / 4.0
    length = resistance_at(ohms, celsius, REFERENCE_CELSIUS) * area / RESISTIVITY_20
    return length * area * VOLUMETRIC_HEAT


def constant_voltage_seconds(
    volts: float, ohms: float, heat_capacity: float, from_celsius: float, to_celsius: float
) -> float:
    """Return the seconds a steady voltage takes to warm a winding, its ohms rising as it warms.

    ``ohms`` at ``from_celsius``, ``heat_capacity`` in J/K. Source: C dT = V^2 / R(T) dt integrated
    with the copper line: t = (C R1 / V^2) (dT + dT^2 / (2 (234.5 + t1))).
    """
    rise = to_celsius - from_celsius
    bend = rise**2 / (2.0 * (ZERO_RESISTANCE + from_celsius))
    return heat_capacity * ohms / volts**2 * (rise + bend)


def constant_voltage_celsius(
    seconds: float, volts: float, ohms: float, heat_capacity: float, from_celsius: float
) -> float:
    """Return the temperature in Celsius of a winding after ``seconds`` at a steady voltage.

    Source: the positive root of the equation of :func:`constant_voltage_seconds`.
    """
    start = from_celsius + ZERO_RESISTANCE
    warmth = seconds * volts**2 / (heat_capacity * ohms)
    return math.sqrt(start**2 + 2.0 * start * warmth) - ZERO_RESISTANCE
