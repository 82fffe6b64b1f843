"""Recordings of machines that ngspice solves: seat, length, ohms, moved or not."""

from collections.abc import Callable

import pytest

from tests.traces.score import HELD_OUT, LOUD, Score, said, scores, table, within


def _hold(found: list[Score]) -> None:
    """Hold scores to the limits of a recording that is loud enough."""
    loud = [one for one in found if one.decibels >= LOUD]
    assert said(loud).right >= 0.98 * said(loud).of - 1
    assert said(found).false <= 0.005 * len(found)
    for kind, share in (("seat", 0.95), ("length", 0.95), ("ohms", 0.95)):
        good, count = within(loud, kind)
        assert good >= share * count - 1, kind


@pytest.mark.live  # starts ngspice
def test_held_out_machines_are_read(
    enlarged: Callable[[int], int], figure: Callable[[str], None]
) -> None:
    """On a seed that nothing was tuned on; 40 of them when enlarged."""
    found = list(scores(enlarged(4), HELD_OUT))
    figure(table(found))
    _hold(found)
