"""DC networks of resistors and voltage sources: nodes, branches, solve, sensitivities.

Nodal analysis in conductance form. Each branch p runs from node a to node b and carries
``i = g (v_a - v_b + e)``; Kirchhoff's current law at each node gives ``(A^T g A + leak) v =
-A^T g e``. Every node leaks to the reference through a voltmeter's input resistance, so that a
floating node has the voltage that a meter on it would show. All arrays are batched: the leading
axes may be hypotheses, configurations, anything.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

METER_OHMS = 10e6  # input resistance of a common digital voltmeter (common practice)
OHMMETER_LEAK_OHMS = 1e9  # insulation of a dry harness, for resistance readings


class Network:
    """The fixed shape of a circuit: which branch joins which nodes. The reference is node 0 V."""

    def __init__(self, branches: Sequence[tuple[str, str]], reference: str) -> None:
        names = {node for pair in branches for node in pair}
        if reference not in names:
            raise ValueError(f"no branch reaches the reference node '{reference}'")
        self.reference = reference
        self.nodes = tuple(sorted(names - {reference}))
        self._index = {name: number for number, name in enumerate(self.nodes)}
        self.incidence: Floats = np.zeros((len(branches), len(self.nodes)), dtype=np.float64)
        for number, (start, end) in enumerate(branches):
            for node, sign in ((start, 1.0), (end, -1.0)):
                if node != reference:
                    self.incidence[number, self._index[node]] += sign
        # one row a branch: the outer product of its incidence, for fast assembly
        self._stamps: Floats = np.einsum("pn,pm->pnm", self.incidence, self.incidence).reshape(
            len(branches), -1
        )

    def unit(self, node: str) -> Floats:
        """Return the vector that picks ``node``'s voltage (zeros for the reference)."""
        vector: Floats = np.zeros(len(self.nodes))
        if node != self.reference:
            vector[self._index[node]] = 1.0
        return vector

    def matrix(self, conductances: Floats, leak_ohms: float = METER_OHMS) -> Floats:
        """Return the nodal matrix in siemens, shape (..., nodes, nodes)."""
        size = len(self.nodes)
        flat: Floats = conductances @ self._stamps
        matrix = flat.reshape(*conductances.shape[:-1], size, size)
        matrix[..., np.arange(size), np.arange(size)] += 1.0 / leak_ohms
        return matrix

    def voltages(
        self, conductances: Floats, volts: Floats, leak_ohms: float = METER_OHMS
    ) -> Floats:
        """Return node voltages in volts above the reference, shape (..., nodes).

        ``conductances`` in siemens (0 is open) and ``volts`` of the sources have shape
        (..., branches).
        """
        right = -(conductances * volts) @ self.incidence
        solved = np.linalg.solve(self.matrix(conductances, leak_ohms), right[..., None])
        return np.asarray(solved[..., 0], dtype=np.float64)

    def currents(self, conductances: Floats, volts: Floats, voltages: Floats) -> Floats:
        """Return branch currents in amperes, from the first node to the second."""
        across: Floats = voltages @ self.incidence.T
        return conductances * (across + volts)

    def inverse(self, conductances: Floats, leak_ohms: float = METER_OHMS) -> Floats:
        """Return the inverse nodal matrix in ohms, shape (..., nodes, nodes)."""
        inverse = np.linalg.inv(self.matrix(conductances, leak_ohms))
        return np.asarray(inverse, dtype=np.float64)


@dataclass(frozen=True)
class Sensitivity:
    """A solved quantity and how it moves: per relative change of ohms, per volt of each source."""

    value: Floats
    per_log_ohms: Floats
    per_volt: Floats


def voltage_between(network: Network, solved: "Solved", start: str, end: str) -> Sensitivity:
    """Return the voltage of node ``start`` above node ``end`` in volts, with sensitivities.

    From the adjoint of the nodal equations: dv/dg = -w a (a v + e), w = (unit vector) inverse.
    """
    pick = network.unit(start) - network.unit(end)
    across: Floats = solved.inverse @ pick @ network.incidence.T
    # dv/d ln R = -g dv/dg
    per_log_ohms = across * solved.currents
    per_volt = -across * solved.conductances
    return Sensitivity(solved.voltages @ pick, per_log_ohms, per_volt)


def current_through(network: Network, solved: "Solved", branch: int) -> Sensitivity:
    """Return the current in a branch in amperes, with sensitivities."""
    pick: Floats = network.incidence[branch]
    across: Floats = solved.inverse @ pick @ network.incidence.T
    conductance = solved.conductances[..., branch, None]
    per_log_ohms = conductance * across * solved.currents
    per_volt = -conductance * across * solved.conductances
    per_log_ohms[..., branch] -= solved.currents[..., branch]
    per_volt[..., branch] += solved.conductances[..., branch]
    return Sensitivity(solved.currents[..., branch], per_log_ohms, per_volt)


def resistance_between(
    network: Network, inverse: Floats, conductances: Floats, start: str, end: str
) -> Sensitivity:
    """Return the resistance between two nodes of a dead network in ohms, with sensitivities."""
    pick = network.unit(start) - network.unit(end)
    column: Floats = inverse @ pick
    across: Floats = column @ network.incidence.T
    per_log_ohms = conductances * across**2
    return Sensitivity(column @ pick, per_log_ohms, np.zeros_like(per_log_ohms))


@dataclass(frozen=True)
class Solved:
    """A batch of solved networks: what was put in and what came out."""

    network: Network
    conductances: Floats
    volts: Floats
    voltages: Floats
    leak_ohms: float = METER_OHMS

    @cached_property
    def currents(self) -> Floats:
        """Return the branch currents in amperes."""
        return self.network.currents(self.conductances, self.volts, self.voltages)

    @cached_property
    def inverse(self) -> Floats:
        """Return the inverse nodal matrix in ohms, worked out where sensitivities are wanted."""
        return self.network.inverse(self.conductances, self.leak_ohms)

    def at(self, index: Any) -> "Solved":
        """Return a slice of the batch."""
        return replace(
            self, conductances=self.conductances[index], volts=self.volts[index],
            voltages=self.voltages[index],
        )  # fmt: skip
