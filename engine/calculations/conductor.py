"""Wires: resistance, voltage drop, and the resistance that keeps a drop within a limit.

Resistance at temperature follows engine.calculations.copper.
"""

from engine.calculations.copper import REFERENCE_CELSIUS, RESISTIVITY_20, resistance_at
from engine.calculations.guard import not_negative, positive


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
