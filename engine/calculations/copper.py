"""Resistance of copper at a temperature, and temperature from resistance.

Source of the law: R2 / R1 = (t2 + k) / (t1 + k), IEC 60034-1 clause 8.6.2 (from memory), with k the
zero-resistance temperature of copper below 0 C.
"""

from engine.calculations.guard import Quantity, above, positive

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
