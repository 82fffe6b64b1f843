"""Lead-acid battery: state of charge from rest voltage, and internal resistance.

Rows are mappings with ``volts`` and ``charge`` (0 to 1), as in kb/tables/battery-state.yaml.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from engine.calculations.guard import not_negative, positive

Row = Mapping[str, Any]


def state_of_charge(volts: float, rows: Sequence[Row], in_series: int = 1) -> float:
    """Return the charge, 0 to 1, of ``in_series`` equal 12 V batteries at rest.

    ``volts`` is the open-circuit voltage of the whole. Straight lines between the rows; below the
    lowest 0, above the highest 1, by the rows given. Raises ValueError for volts not above zero,
    ``in_series`` below 1 or fewer than two rows. Source: the table given (BCI, open circuit).
    """
    if len(rows) < 2:
        raise ValueError(f"rows must hold at least two points, got {len(rows)}")
    if in_series < 1:
        raise ValueError(f"in_series must be 1 or more, got {in_series!r}")
    points = sorted((float(row["volts"]), float(row["charge"])) for row in rows)
    known_volts, known_charge = zip(*points, strict=True)
    return float(np.interp(positive("volts", volts) / in_series, known_volts, known_charge))


def pair_state_of_charge(volts: float, rows: Sequence[Row]) -> float:
    """Return the charge, 0 to 1, of two equal 12 V batteries in series (a 24 V machine).

    It is the mean of the pair: a weak half hides behind a good one, so measure each for itself too.
    Errors and source as :func:`state_of_charge`.
    """
    return state_of_charge(volts, rows, in_series=2)


def internal_resistance(open_volts: float, loaded_volts: float, amperes: float) -> float:
    """Return the internal resistance in ohm from the sag under a steady load.

    Raises ValueError for open volts or amperes not above zero, negative loaded volts, or loaded
    volts above the open ones. Source: Ohm's law, (U0 - U) / I.
    """
    positive("open_volts", open_volts)
    if not_negative("loaded_volts", loaded_volts) > open_volts:
        raise ValueError(
            f"loaded_volts must be at most open_volts, got {loaded_volts!r} and {open_volts!r}"
        )
    return (open_volts - loaded_volts) / positive("amperes", amperes)


def loaded_volts(open_volts: float, ohms: float, amperes: float) -> float:
    """Return the terminal volts of a battery of internal ``ohms`` that gives ``amperes``.

    Raises ValueError for open volts not above zero, negative ohms or amperes, or a current above
    what the battery can give. Source: Ohm's law, U0 - I R.
    """
    positive("open_volts", open_volts)
    left = open_volts - not_negative("ohms", ohms) * not_negative("amperes", amperes)
    if left < 0:
        raise ValueError(f"amperes must be at most the short-circuit current, got {amperes!r}")
    return left
