"""Current in a coil over time, and the voltage it throws when it is cut."""

import math

from engine.calculations.guard import not_negative, positive


def time_constant(henry: float, ohms: float) -> float:
    """Return the time constant in seconds of a coil: L / R.

    Raises ValueError for an inductance or resistance not above zero. Source: first-order circuit,
    OpenStax College Physics 23.10.
    """
    return positive("henry", henry) / positive("ohms", ohms)


def decayed_current(amperes: float, seconds: float, henry: float, ohms: float) -> float:
    """Return the amperes left ``seconds`` after the source is gone: I0 exp(-t R / L).

    Raises ValueError for a negative current or time, else as :func:`time_constant`, whose source
    it shares.
    """
    not_negative("amperes", amperes)
    return amperes * math.exp(-not_negative("seconds", seconds) / time_constant(henry, ohms))


def risen_current(final_amperes: float, seconds: float, henry: float, ohms: float) -> float:
    """Return the amperes ``seconds`` after switching on: I (1 - exp(-t R / L)).

    ``final_amperes`` is where it settles. Raises ValueError as :func:`decayed_current`, whose
    source it shares.
    """
    not_negative("final_amperes", final_amperes)
    share = -not_negative("seconds", seconds) / time_constant(henry, ohms)
    return -final_amperes * math.expm1(share)


def flyback_voltage(henry: float, amperes: float, seconds: float) -> float:
    """Return the mean volts while ``amperes`` are cut in ``seconds``: L I / t.

    Raises ValueError for an inductance or time not above zero, or a negative current. Source:
    Faraday's law, OpenStax College Physics 23.9 and 23.10.
    """
    change = positive("henry", henry) * not_negative("amperes", amperes)
    return change / positive("seconds", seconds)


def inductance_from_flyback(volts: float, amperes: float, seconds: float) -> float:
    """Return the henry of a coil that makes ``volts`` while ``amperes`` are cut in ``seconds``.

    Raises ValueError for a figure not above zero. Source: inverse of :func:`flyback_voltage`.
    """
    positive("volts", volts)
    return volts * positive("seconds", seconds) / positive("amperes", amperes)
