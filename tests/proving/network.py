"""A small dense modified nodal analysis with ideal sources, one circuit at a time."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

GROUND = "battery-negative"
STRAY_SIEMENS = 1e-12  # keeps a floating node solvable; far below anything a meter shows


@dataclass(frozen=True)
class Resistor:
    """A resistance between two nodes, in ohms."""

    name: str
    start: str
    end: str
    ohms: float


@dataclass(frozen=True)
class Source:
    """An ideal voltage source: ``plus`` stands ``volts`` above ``minus``."""

    name: str
    minus: str
    plus: str
    volts: float


class Solved:
    """Node voltages in volts above battery negative, and currents in amperes."""

    def __init__(self, volts: dict[str, float], resistors: dict[str, Resistor]) -> None:
        self._volts, self._resistors = volts, resistors

    def at(self, node: str) -> float:
        """Return a node's voltage; a node that nothing reaches is at 0."""
        return self._volts.get(node, 0.0)

    def between(self, red: str, black: str) -> float:
        """Return the voltage of ``red`` above ``black``."""
        return self.at(red) - self.at(black)

    def amperes(self, name: str) -> float:
        """Return the current from start to end of a resistor; 0 when it is not there."""
        one = self._resistors.get(name)
        return 0.0 if one is None else self.between(one.start, one.end) / one.ohms


def solve(resistors: Iterable[Resistor], sources: Iterable[Source]) -> Solved:
    """Solve a network by modified nodal analysis: Kirchhoff at nodes, one row a source."""
    parts, feeds = list(resistors), list(sources)
    ends = {n for one in parts for n in (one.start, one.end)}
    ends |= {n for one in feeds for n in (one.minus, one.plus)}
    place = {name: number for number, name in enumerate(sorted(ends - {GROUND}))}
    nodes = len(place)
    matrix: NDArray[Any] = np.zeros((nodes + len(feeds), nodes + len(feeds)))
    right = np.zeros(nodes + len(feeds))
    matrix[np.arange(nodes), np.arange(nodes)] = STRAY_SIEMENS
    for one in parts:
        _stamp(matrix, place.get(one.start), place.get(one.end), 1.0 / one.ohms)
    for number, feed in enumerate(feeds, start=nodes):
        right[number] = feed.volts
        for node, sign in ((feed.plus, 1.0), (feed.minus, -1.0)):
            if node in place:
                matrix[number, place[node]] += sign
                matrix[place[node], number] += sign
    found = np.linalg.solve(matrix, right)
    volts = {name: float(found[number]) for name, number in place.items()}
    return Solved(volts, {one.name: one for one in parts})


def _stamp(matrix: NDArray[Any], start: int | None, end: int | None, siemens: float) -> None:
    """Add a conductance to the nodal matrix; None is the reference node."""
    for node in (start, end):
        if node is not None:
            matrix[node, node] += siemens
    if start is not None and end is not None:
        matrix[start, end] -= siemens
        matrix[end, start] -= siemens
