"""Copper: its resistance at a temperature, what wires lose, how hot a winding gets.

Source of the law: R2 / R1 = (t2 + k) / (t1 + k), IEC 60034-1 clause 8.6.2 (from memory), with k the
zero-resistance temperature of copper below 0 C.
"""

import math

from engine.calculations.guard import Quantity, above, not_negative, positive

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

    Raises ValueError for ohms not above zero or a temperature where the law has none left.
    Source: IEC 60034-1 clause 8.6.2, straight-line law.
    """
    positive("ohms", ohms)
    above("from_celsius", from_celsius, -ZERO_RESISTANCE)
    above("to_celsius", to_celsius, -ZERO_RESISTANCE)
    return ohms * (to_celsius + ZERO_RESISTANCE) / (from_celsius + ZERO_RESISTANCE)


def ohms_per_metre(area: float, celsius: float = REFERENCE_CELSIUS) -> float:
    """Return the ohms per metre of solid copper of ``area`` m2 at ``celsius``.

    Raises ValueError for an area not above zero or a temperature below the law's zero.
    Source: resistivity of IEC 60028:1925 over area.
    """
    return resistance_at(RESISTIVITY_20 / positive("area", area), REFERENCE_CELSIUS, celsius)


def feed_ohms(
    metres: float, ohms_per_metre_at_20: float, celsius: float = REFERENCE_CELSIUS
) -> float:
    """Return the ohms of ``metres`` of wire at ``celsius``, from its ohms per metre at 20 C.

    Raises ValueError for a negative length, ohms per metre not above zero, or a temperature below
    the law's zero. Source: length times resistance per length, as :mod:`.copper` at temperature.
    """
    not_negative("metres", metres)
    positive("ohms_per_metre_at_20", ohms_per_metre_at_20)
    return metres * resistance_at(ohms_per_metre_at_20, REFERENCE_CELSIUS, celsius)


def feed_drop(
    amperes: float,
    metres: float,
    ohms_per_metre_at_20: float,
    celsius: float = REFERENCE_CELSIUS,
) -> float:
    """Return the volts lost along ``metres`` of wire (there and back when it is a loop).

    Raises ValueError for a negative current, else as :func:`feed_ohms`. Source: Ohm's law.
    """
    ohms = feed_ohms(metres, ohms_per_metre_at_20, celsius)
    return not_negative("amperes", amperes) * ohms


def highest_ohms_per_metre(
    amperes: float, metres: float, drop_volts: float, celsius: float = REFERENCE_CELSIUS
) -> float:
    """Return the ohms per metre at 20 C that a wire may have so that it loses ``drop_volts``.

    The wire carries ``amperes`` at ``celsius``. Raises ValueError for a figure not above zero.
    Source: Ohm's law; the inverse of :func:`feed_drop`.
    """
    positive("amperes", amperes)
    positive("metres", metres)
    hot = positive("drop_volts", drop_volts) / (amperes * metres)
    return resistance_at(hot, celsius, REFERENCE_CELSIUS)


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
