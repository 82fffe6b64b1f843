"""When a blade fuse opens: the standard's window, and the chance that it has opened.

Rows are mappings with ``percent`` (of the rating), ``earliest_seconds`` and ``latest_seconds``
(None where the standard sets no latest time), as in kb/tables/blade-fuses.yaml.

The model behind :func:`opening_probability`. Each row's window is what every good fuse keeps, so it
is read as the range of plus and minus three standard deviations (judgement) of the logarithm of the
opening time about the window's geometric middle. Middle and spread run in straight lines between
the rows over the logarithm of the current. The lowest row sets no latest time: its window is given
the width of the next row's, so that its middle lies far beyond the shortest time it allows. Beyond
the highest row the middle falls with the square of the current (constant melting energy). At or
below the lowest row the fuse never opens.
"""

import math
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, Literal, NamedTuple

import numpy as np
from scipy.special import ndtr

from engine.calculations import Array

Row = Mapping[str, Any]
Words = Literal["never opens", "cannot say", "opens"]

SIGMAS_IN_WINDOW = 3.0
_SAME = 1e-9  # relative: 40.5 A on 30 A is 135 %, whatever the binary fraction says

# The same figures as kb/tables/blade-fuses.yaml (a test holds them together), for callers that
# have no table at hand.
ISO_8820_3: tuple[Row, ...] = (
    {"percent": 110.0, "earliest_seconds": 360_000.0, "latest_seconds": None},
    {"percent": 135.0, "earliest_seconds": 0.75, "latest_seconds": 600.0},
    {"percent": 160.0, "earliest_seconds": 0.25, "latest_seconds": 50.0},
    {"percent": 200.0, "earliest_seconds": 0.15, "latest_seconds": 5.0},
    {"percent": 350.0, "earliest_seconds": 0.08, "latest_seconds": 0.5},
)


class Window(NamedTuple):
    """Opening time in seconds: not before ``earliest``, and within ``latest`` (None: no limit)."""

    earliest: float
    latest: float | None


def _sorted_rows(rows: Sequence[Row]) -> list[Row]:
    """Return the rows by rising percent."""
    return sorted(rows, key=lambda row: float(row["percent"]))


def percent_of_rating(amperes: float, rating_amperes: float) -> float:
    """Return the current in percent of the fuse's rating."""
    return 100.0 * amperes / rating_amperes


def opening_window(
    amperes: float, rating_amperes: float, rows: Sequence[Row] = ISO_8820_3
) -> Window:
    """Return the window in seconds in which a good fuse of this rating opens at this current.

    At a listed point it is the row's. Between points the latest time is that of the next lower
    row, the earliest that of the next higher: a fuse opens no later for more current. At or below
    the lowest row it is that row's: no sooner, and no latest. Source: ISO 8820-3:2015.
    """
    percent = percent_of_rating(amperes, rating_amperes)
    ordered = _sorted_rows(rows)
    lower = [row for row in ordered if row["percent"] <= percent * (1 + _SAME)]
    higher = [row for row in ordered if row["percent"] >= percent * (1 - _SAME)]
    earliest = float(higher[0]["earliest_seconds"]) if higher else 0.0
    latest = lower[-1]["latest_seconds"] if lower else None
    return Window(earliest, None if latest is None else float(latest))


def opening_words(amperes: float, rating_amperes: float, rows: Sequence[Row] = ISO_8820_3) -> Words:
    """Return 'never opens', 'cannot say' or 'opens' for a current held on a fuse.

    'never opens' up to the lowest row, 'opens' from the first row with a latest time, 'cannot say'
    between them. Source: as :func:`opening_window`.
    """
    percent = percent_of_rating(amperes, rating_amperes)
    if percent <= float(_sorted_rows(rows)[0]["percent"]) * (1 + _SAME):
        return "never opens"
    latest = opening_window(amperes, rating_amperes, rows).latest
    return "cannot say" if latest is None else "opens"


@cache
def _log_curve() -> tuple[Array, Array, Array]:
    """Return log ratio, log middle time and log spread of each row of the standard."""
    ordered = _sorted_rows(ISO_8820_3)
    earliest = np.log([float(row["earliest_seconds"]) for row in ordered])
    latest = np.array([np.log(row["latest_seconds"] or math.nan) for row in ordered])
    width = latest - earliest
    width[0] = width[1] if np.isnan(width[0]) else width[0]
    ratio = np.log([float(row["percent"]) / 100.0 for row in ordered])
    return ratio, earliest + width / 2.0, width / (2.0 * SIGMAS_IN_WINDOW)


def opening_probability(ratio: Array, seconds: float) -> Array:
    """Return the probability that a good fuse at ``ratio`` x rating opened within ``seconds``.

    0 at or below the lowest row (1.10). Source: the model in this module's text, judgement fitted
    to the windows of ISO 8820-3:2015.
    """
    known, middle, spread = _log_curve()
    live = (ratio > math.exp(known[0]) * (1 + _SAME)) & (seconds > 0)
    logs = np.log(np.where(live, ratio, 1.0))
    beyond = np.maximum(logs - known[-1], 0.0)
    centre = np.interp(logs, known, middle) - 2.0 * beyond
    z = (math.log(seconds or 1.0) - centre) / np.interp(logs, known, spread)
    return np.where(live, ndtr(z), 0.0)
