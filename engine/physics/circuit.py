"""DC networks of resistors and voltage sources: nodes, branches, solve, sensitivities.

Each branch p runs from node a to node b and carries ``i = g (v_a - v_b + e)``; Kirchhoff's current
law at each node gives ``(A^T g A + leak) v = -A^T g e``. Every node leaks to the reference through
a voltmeter's input resistance, so that a floating node has the voltage that a meter on it would
show. All arrays are batched: the leading axes may be hypotheses, configurations, anything.

Nodes are taken out one by one by star-mesh transformation (Rosen 1924, from memory), those with the
fewest neighbors first: conductances are only added, multiplied and divided, never subtracted, so no
digits are lost where a milliohm stands beside a meter's megohms; and a harness has so few branches
a node that this costs a tenth of inverting its matrix.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

METER_OHMS = 10e6  # input resistance of a common digital voltmeter (common practice)
OHMMETER_LEAK_OHMS = 1e9  # insulation of a dry harness, for resistance readings


@dataclass(frozen=True)
class _Step:
    """A node to take out: its neighbors then, its edges, and the edges that join two of those."""

    node: int
    neighbors: list[int]
    edges: list[int]
    joined: list[tuple[int, int, int]]  # two places among the neighbors, and the edge between


class Network:
    """The fixed shape of a circuit: which branch joins which nodes. The reference is node 0 V."""

    def __init__(self, branches: Sequence[tuple[str, str]], reference: str) -> None:
        names = {node for pair in branches for node in pair}
        if reference not in names:
            raise ValueError(f"no branch reaches the reference node '{reference}'")
        self.reference, self.ends = reference, tuple(branches)
        self.nodes = tuple(sorted(names - {reference}))
        self._index = {name: number for number, name in enumerate(self.nodes)}
        self.incidence: Floats = np.zeros((len(branches), len(self.nodes)), dtype=np.float64)
        self.edges: dict[frozenset[int], int] = {}
        self.branches: list[frozenset[int]] = []  # the nodes of each, without the reference
        for number, pair in enumerate(branches):
            ends = [self._index[node] for node in pair if node != reference]
            self.branches.append(frozenset(ends))
            for node, sign in zip(pair, (1.0, -1.0), strict=True):
                if node != reference:
                    self.incidence[number, self._index[node]] += sign
            if len(ends) == 2:
                self.edges.setdefault(frozenset(ends), len(self.edges))
        self.steps = tuple(self._steps())

    def _steps(self) -> Iterator[_Step]:
        """Yield the nodes in the order in which they go; what joins their neighbors is added."""
        around: dict[int, set[int]] = {node: set() for node in range(len(self.nodes))}
        for start, end in self.edges:
            around[start].add(end)
            around[end].add(start)
        while around:
            node = min(around, key=lambda one: (len(around[one]), one))
            neighbors = sorted(around.pop(node))
            for one in neighbors:
                around[one] = (around[one] | set(neighbors)) - {one, node}
            yield _Step(
                node, neighbors, [self.edges[frozenset((node, one))] for one in neighbors],
                [
                    (a, b, self.edges.setdefault(frozenset((one, other)), len(self.edges)))
                    for (a, one), (b, other) in combinations(enumerate(neighbors), 2)
                ],
            )  # fmt: skip

    def unit(self, node: str) -> Floats:
        """Return the vector that picks ``node``'s voltage (zeros for the reference)."""
        vector: Floats = np.zeros(len(self.nodes))
        if node != self.reference:
            vector[self._index[node]] = 1.0
        return vector

    def voltages(self, conductances: Floats, volts: Floats) -> Floats:
        """Return node voltages in volts above the reference, shape (..., nodes).

        ``conductances`` in siemens (0 is open) and ``volts`` of the sources have shape
        (..., branches).
        """
        into = -(conductances * volts) @ self.incidence
        return Reduced(self, conductances, METER_OHMS).voltages(into)


class Reduced:
    """A batch of networks whose nodes were taken out one by one, ready for any currents into them.

    ``conductances`` in siemens have shape (..., branches).
    """

    def __init__(self, network: Network, conductances: Floats, leak_ohms: float) -> None:
        self._network, self._shape = network, conductances.shape[:-1]
        flat = np.ascontiguousarray(conductances.reshape(-1, conductances.shape[-1]).T)
        joins = np.zeros((len(network.edges), flat.shape[1]))
        leaks = np.full((len(network.nodes), flat.shape[1]), 1.0 / leak_ohms)
        for branch, ends in zip(flat, network.branches, strict=True):
            if len(ends) == 2:
                joins[network.edges[ends]] += branch
            for node in ends if len(ends) == 1 else ():
                leaks[node] += branch
        self._totals, self._shares = leaks, []
        for step in network.steps:
            own = joins[step.edges]
            leak = leaks[step.node].copy()
            leaks[step.node] += own.sum(axis=0)  # from here on all that leaves the node
            share = own / leaks[step.node]
            for a, b, edge in step.joined:
                joins[edge] += share[a] * own[b]
            leaks[step.neighbors] += share * leak
            self._shares.append(share)

    def voltages(self, into: Floats) -> Floats:
        """Return node voltages in volts for currents in amperes into the nodes, (..., nodes)."""
        volts = into.reshape(-1, into.shape[-1]).T[:, None].copy()
        return self._solved(volts)[:, 0].T.reshape(*self._shape, -1)

    def responses(self, picks: Floats) -> Floats:
        """Return node voltages for each row of currents (row, node), shape (row, ..., node)."""
        rows, nodes = picks.shape
        volts = np.repeat(picks.T[:, :, None], self._totals.shape[1], axis=2)
        return np.moveaxis(self._solved(volts), 0, -1).reshape(rows, *self._shape, nodes)

    def _solved(self, volts: Floats) -> Floats:
        """Turn currents into voltages in place, shape (node, row, network)."""
        steps = list(zip(self._network.steps, self._shares, strict=True))
        for step, share in steps:
            volts[step.neighbors] += share[:, None] * volts[step.node]
        volts /= self._totals[:, None]
        for step, share in reversed(steps):
            volts[step.node] += (share[:, None] * volts[step.neighbors]).sum(axis=0)
        return volts


@dataclass(frozen=True)
class Sensitivity:
    """A solved quantity and how it moves: per relative change of ohms, per volt of each source."""

    value: Floats
    per_log_ohms: Floats
    per_volt: Floats


@dataclass(frozen=True)
class Solved:
    """A batch of solved networks: what was put in and what came out."""

    network: Network
    conductances: Floats
    volts: Floats
    voltages: Floats
    leak_ohms: float = METER_OHMS
    _responses: dict[tuple[str, str], Floats] = field(init=False, repr=False, default_factory=dict)

    @cached_property
    def currents(self) -> Floats:
        """Return the branch currents in amperes, from the first node to the second."""
        across: Floats = self.voltages @ self.network.incidence.T
        return self.conductances * (across + self.volts)

    @cached_property
    def _reduced(self) -> Reduced:
        return Reduced(self.network, self.conductances, self.leak_ohms)

    def respond(self, pairs: Iterable[tuple[str, str]]) -> None:
        """Work out what 1 A between each of the pairs of nodes does: all at once costs least."""
        new = [one for one in dict.fromkeys(pairs) if one not in self._responses]
        if new:
            unit = self.network.unit
            picks = np.stack([unit(start) - unit(end) for start, end in new])
            self._responses.update(zip(new, self._reduced.responses(picks), strict=True))

    def _response(self, start: str, end: str) -> Floats:
        """Return the voltages that 1 A into one node and out of the other gives, (..., nodes)."""
        self.respond([(start, end)])
        return self._responses[start, end]

    def voltage_between(self, start: str, end: str) -> Sensitivity:
        """Return the voltage of node ``start`` above node ``end`` in volts, with sensitivities.

        From the adjoint of the nodal equations: dv/dg = -w a (a v + e), where w are the voltages
        that 1 A between the two nodes would give.
        """
        across: Floats = self._response(start, end) @ self.network.incidence.T
        here = self.voltages @ (self.network.unit(start) - self.network.unit(end))
        # dv/d ln R = -g dv/dg
        return Sensitivity(here, across * self.currents, -across * self.conductances)

    def current_through(self, branch: int) -> Sensitivity:
        """Return the current in a branch in amperes, with sensitivities."""
        across: Floats = self._response(*self.network.ends[branch]) @ self.network.incidence.T
        conductance = self.conductances[..., branch, None]
        per_log_ohms = conductance * across * self.currents
        per_volt = -conductance * across * self.conductances
        per_log_ohms[..., branch] -= self.currents[..., branch]
        per_volt[..., branch] += self.conductances[..., branch]
        return Sensitivity(self.currents[..., branch], per_log_ohms, per_volt)

    def resistance_between(self, start: str, end: str) -> Sensitivity:
        """Return the resistance between two nodes of a dead network in ohms, with sensitivities."""
        column = self._response(start, end)
        across: Floats = column @ self.network.incidence.T
        per_log_ohms = self.conductances * across**2
        here = column @ (self.network.unit(start) - self.network.unit(end))
        return Sensitivity(here, per_log_ohms, np.zeros_like(per_log_ohms))
