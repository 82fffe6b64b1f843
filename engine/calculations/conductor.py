"""Wires: size, resistance, voltage drop, and the smallest size that keeps a drop within a limit.

Resistance at temperature follows engine.calculations.copper. Table rows are mappings, as in
kb/tables/conductors-awg.yaml and kb/tables/conductors-metric.yaml.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from engine.calculations.copper import (
    REFERENCE_CELSIUS,
    RESISTIVITY_20,
    resistance_at,
    resistance_at_20,
)
from engine.calculations.guard import finite, not_negative, positive

Row = Mapping[str, Any]


def round_area(diameter: float) -> float:
    """Return the area in m2 of a round wire of ``diameter`` in metres.

    Raises ValueError for a diameter not above zero. Source: area of a circle.
    """
    return math.pi * positive("diameter", diameter) ** 2 / 4.0


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
    return resistance_at_20(positive("drop_volts", drop_volts) / (amperes * metres), celsius)


def smallest_size(
    rows: Sequence[Row], key: str, *, at_least: float | None = None, at_most: float | None = None
) -> Row | None:
    """Return the smallest wire of a table whose ``key`` is within the limits, or None.

    Give ``at_least`` for an area (mm2, circular mils), ``at_most`` for a resistance, in the unit of
    ``key``. Rows without ``key`` are passed over; smallest is by ``mm2``. Raises ValueError when
    neither limit is given or one is not finite. Source: selection from the table given.
    """
    if at_least is None and at_most is None:
        raise ValueError("at_least or at_most must be given, got neither")
    low = -math.inf if at_least is None else finite("at_least", at_least)
    high = math.inf if at_most is None else finite("at_most", at_most)
    fitting = [row for row in rows if row.get(key) is not None and low <= row[key] <= high]
    return min(fitting, key=lambda row: float(row["mm2"]), default=None)
