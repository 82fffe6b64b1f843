"""Resistance of copper at a temperature, and temperature from resistance.

Source of the law: R2 / R1 = (t2 + k) / (t1 + k), IEC 60034-1 clause 8.6.2 (from memory), with k the
zero-resistance temperature of copper below 0 C.
"""

from engine.calculations.guard import Quantity, above, positive

RESISTIVITY_20 = 1.7241e-8
"""Resistivity of annealed copper at 20 C, ohm m (IEC 60028:1925)."""

COEFFICIENT_20 = 0.00393
"""Temperature coefficient of resistance referred to 20 C, 1/K (IEC 60028:1925)."""

ZERO_RESISTANCE = 234.5
"""Degrees below 0 C at which the straight line reaches zero ohms (NBS Handbook 100)."""

MACHINE_ZERO = 235.0
"""The rounded value for windings of machines (IEC 60034-1 clause 8.6.2, from memory)."""

DENSITY = 8890.0
"""Density of annealed copper at 20 C, kg/m3 (IEC 60028, from memory)."""

VOLUMETRIC_HEAT = 3.45e6
"""Heat capacity of copper by volume, J/(K m3) (IEC 60949, from memory)."""

REFERENCE_CELSIUS = 20.0


def resistance_at(
    ohms: Quantity, from_celsius: Quantity, to_celsius: Quantity, zero: float = ZERO_RESISTANCE
) -> Quantity:
    """Return in ohm what copper of ``ohms`` at ``from_celsius`` has at ``to_celsius``.

    Raises ValueError for ohms that are not above zero or a temperature at or below ``-zero``.
    Source: IEC 60034-1 clause 8.6.2, straight-line law.
    """
    positive("ohms", ohms)
    above("from_celsius", from_celsius, -zero)
    above("to_celsius", to_celsius, -zero)
    return ohms * (to_celsius + zero) / (from_celsius + zero)


def resistance_at_20(ohms: Quantity, celsius: Quantity) -> Quantity:
    """Return in ohm what copper of ``ohms`` measured at ``celsius`` has at 20 C.

    Raises ValueError as :func:`resistance_at`, which is its source.
    """
    positive("ohms", ohms)
    above("celsius", celsius, -ZERO_RESISTANCE)
    return ohms * (REFERENCE_CELSIUS + ZERO_RESISTANCE) / (celsius + ZERO_RESISTANCE)


def temperature_from_resistance(
    ohms: Quantity, cold_ohms: Quantity, cold_celsius: Quantity, zero: float = ZERO_RESISTANCE
) -> Quantity:
    """Return the mean temperature in Celsius of a winding from its ohms now and when cold.

    Raises ValueError for ohms that are not above zero or a temperature at or below ``-zero``.
    Source: IEC 60034-1 clause 8.6.2, straight-line law.
    """
    positive("ohms", ohms)
    positive("cold_ohms", cold_ohms)
    above("cold_celsius", cold_celsius, -zero)
    return (ohms / cold_ohms) * (cold_celsius + zero) - zero


def rise_by_resistance(
    cold_ohms: float,
    cold_celsius: float,
    hot_ohms: float,
    coolant_celsius: float,
    zero: float = MACHINE_ZERO,
) -> float:
    """Return the rise in kelvin of a winding over its coolant (the air) at the end of a test.

    Raises ValueError for ohms that are not above zero or a temperature at or below ``-zero``.
    Source: t2 - ta = (R2 - R1) / R1 x (k + t1) + t1 - ta, IEC 60034-1 clause 8.6.2 (from memory).
    """
    hot = temperature_from_resistance(hot_ohms, cold_ohms, cold_celsius, zero)
    return hot - above("coolant_celsius", coolant_celsius, -zero)


def coefficient_at(celsius: float, zero: float = ZERO_RESISTANCE) -> float:
    """Return the coefficient of resistance referred to ``celsius``, 1/K: 1 / (k + t).

    It falls as the reference rises, so 0.00393 may only be used from 20 C.
    Raises ValueError for a temperature at or below ``-zero``. Source: IEC 60028 straight line.
    """
    return 1.0 / (above("celsius", celsius, -zero) + zero)
