"""DC networks of resistors and voltage sources: nodes, branches, solve, sensitivities.

Each branch p runs from node a to node b and carries ``i = g (v_a - v_b + e)``; Kirchhoff's current
law at each node gives ``(A^T g A + leak) v = -A^T g e``. Every node leaks to the reference through
a voltmeter's input resistance, so that a floating node has the voltage that a meter on it would
show. All arrays are batched: the first axis is the branch or the node, the last the circuit.

Nodes are taken out one by one by star-mesh transformation (Rosen 1924, from memory), those with the
fewest neighbors first: conductances are only added, multiplied and divided, never subtracted, so no
digits are lost where a milliohm stands beside a meter's megohms; and a harness has so few branches
a node that this costs a tenth of inverting its matrix.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

METER_OHMS = 10e6  # input resistance of a common digital voltmeter (common practice)
OHMMETER_LEAK_OHMS = 1e9  # insulation of a dry harness, for resistance readings


@dataclass(frozen=True)
class _Step:
    """A node to take out: its neighbors then, its edges, and the edges that join two of those.

    ``rows`` is where its shares stand in ``Reduced.shares``, one row a neighbor.
    """

    node: int
    neighbors: list[int]
    edges: list[int]
    joined: list[tuple[int, int, int]]  # two places among the neighbors, and the edge between
    rows: slice


class Network:
    """The fixed shape of a circuit: which branch joins which nodes. The reference is node 0 V.

    Voltages of nodes have the reference behind the others.
    """

    def __init__(self, branches: Sequence[tuple[str, str]], reference: str) -> None:
        names = {node for pair in branches for node in pair}
        if reference not in names:
            raise ValueError(f"no branch reaches the reference node '{reference}'")
        self.reference, self.ends = reference, tuple(branches)
        self.nodes = tuple(sorted(names - {reference}))
        self.index = {name: number for number, name in enumerate((*self.nodes, reference))}
        self.starts, self.stops = (
            np.array([self.index[pair[n]] for pair in branches]) for n in (0, 1)
        )
        self.edges: dict[frozenset[int], int] = {}
        self.branches: list[frozenset[int]] = []  # the nodes of each, without the reference
        for pair in branches:
            self.branches.append(frozenset(self.index[node] for node in pair if node != reference))
            if len(self.branches[-1]) == 2:
                self.edges.setdefault(self.branches[-1], len(self.edges))
        self.steps = tuple(self._steps())

    def _steps(self) -> Iterator[_Step]:
        """Yield the nodes in the order in which they go; what joins their neighbors is added."""
        around: dict[int, set[int]] = {node: set() for node in range(len(self.nodes))}
        for start, end in self.edges:
            around[start].add(end)
            around[end].add(start)
        row = 0
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
                slice(row, row + len(neighbors)),
            )  # fmt: skip
            row += len(neighbors)

    def between(self, voltages: Floats, start: str, end: str) -> Floats:
        """Return the voltage of node ``start`` above node ``end``, shape as that of one node."""
        return voltages[self.index[start]] - voltages[self.index[end]]

    def across(self, voltages: Floats) -> Floats:
        """Return the voltage over each branch, from its first node to the second."""
        across = voltages[self.starts]
        across -= voltages[self.stops]
        return across


@dataclass(frozen=True)
class Reduced:
    """Circuits whose nodes were taken out one by one, ready for any currents into them.

    ``totals`` is all that left each node as it went, and ``shares`` what of it each neighbor took.
    """

    network: Network
    totals: Floats
    shares: Floats

    @classmethod
    def of(cls, network: Network, conductances: Floats, leak_ohms: Floats | float) -> "Reduced":
        """Take out the nodes; ``conductances`` in siemens have shape (branch, circuit)."""
        shape = conductances.shape[1:]
        totals, shares = (
            np.empty((count, *shape)) for count in (len(network.nodes), network.steps[-1].rows.stop)
        )
        totals[:] = 1.0 / leak_ohms
        # as lists of rows: to index an array takes as long as to add two short ones
        leaks, taken, product = list(totals), list(shares), np.empty(shape)
        joins = list(np.zeros((len(network.edges), *shape)))
        for branch, ends in zip(conductances, network.branches, strict=True):
            if len(ends) == 2:
                joins[network.edges[ends]] += branch
            for node in ends if len(ends) == 1 else ():
                leaks[node] += branch
        for step in network.steps:
            total, mine = leaks[step.node], taken[step.rows]
            leak = total.copy()
            for edge in step.edges:
                total += joins[edge]  # from here on all that leaves the node
            for share, neighbor, edge in zip(mine, step.neighbors, step.edges, strict=True):
                np.divide(joins[edge], total, share)
                leaks[neighbor] += np.multiply(share, leak, product)
            for a, b, edge in step.joined:
                joins[edge] += np.multiply(mine[a], joins[step.edges[b]], product)
        return cls(network, totals, shares)

    def at(self, circuits: slice) -> "Reduced":
        """Return some of the circuits, not copied."""
        return Reduced(self.network, self.totals[:, circuits], self.shares[:, circuits])

    def put(self, circuits: NDArray[np.intp], other: "Reduced") -> None:
        """Put others in the place of some of the circuits."""
        self.totals[:, circuits], self.shares[:, circuits] = other.totals, other.shares

    def turned(self, volts: Floats, into: Iterable[str]) -> Floats:
        """Turn currents into some nodes into voltages in place, shape (node, row, circuit)."""
        reached = {self.network.index[node] for node in into}
        rows, shares, product = list(volts), list(self.shares), np.empty(volts.shape[1:])
        for step in self.network.steps:
            if step.node not in reached:
                continue
            reached.update(step.neighbors)
            for share, neighbor in zip(shares[step.rows], step.neighbors, strict=True):
                rows[neighbor] += np.multiply(share, rows[step.node], product)
        volts[:-1] /= self.totals[:, None]
        volts[-1] = 0.0
        for step in reversed(self.network.steps):
            for share, neighbor in zip(shares[step.rows], step.neighbors, strict=True):
                rows[step.node] += np.multiply(share, rows[neighbor], product)
        return volts

    def driven(self, conductances: Floats, sources: Sequence[int], volts: Floats) -> Floats:
        """Return the node voltages that ``volts`` in the branches ``sources`` give.

        ``conductances`` are those that were reduced.
        """
        network = self.network
        into = np.zeros((len(network.nodes) + 1, 1, conductances.shape[1]))
        for branch, own in zip(sources, volts, strict=True):
            amperes = conductances[branch] * own
            into[network.starts[branch]] -= amperes
            into[network.stops[branch]] += amperes
        ends = (node for branch in sources for node in network.ends[branch])
        return self.turned(into, ends)[:, 0]

    def responses(self, pairs: Sequence[tuple[str, str]]) -> Floats:
        """Return the voltages that 1 A between each pair of nodes gives, (node, pair, circuit)."""
        index = self.network.index
        into = np.zeros((len(index), len(pairs), self.totals.shape[1]))
        for row, (start, end) in enumerate(pairs):
            into[index[start], row] += 1.0
            into[index[end], row] -= 1.0
        return self.turned(into, (node for pair in pairs for node in pair))


@dataclass(frozen=True)
class Sensitivity:
    """Solved quantities and how they move: per relative change of ohms, per volt of some sources.

    ``value`` has shape (quantity, circuit), the others (branch or source, quantity, circuit).
    """

    value: Floats
    per_log_ohms: Floats
    per_volt: Floats


@dataclass(frozen=True)
class Solved:
    """A batch of solved circuits: what was put in and what came out."""

    network: Network
    conductances: Floats
    volts: Floats
    voltages: Floats
    reduced: Reduced

    @cached_property
    def currents(self) -> Floats:
        """Return the branch currents in amperes, from the first node to the second."""
        return self.conductances * (self.network.across(self.voltages) + self.volts)

    def current(self, branch: int) -> Floats:
        """Return the current in one branch."""
        across = self.network.between(self.voltages, *self.network.ends[branch])
        return self.conductances[branch] * (across + self.volts[branch])

    def read(
        self, wanted: Sequence[tuple[str, str] | int], sources: Sequence[int]
    ) -> Sensitivity:  # fmt: skip
        """Return voltages of one node above another and currents in branches, with sensitivities.

        ``sources`` are the branches whose volts may move.

        From the adjoint of the nodal equations: dv/dg = -w a (a v + e), where w are the voltages
        that 1 A between the two nodes would give; a current is its branch's conductance times the
        voltage over it and its source.
        """
        network = self.network
        pairs = [network.ends[one] if isinstance(one, int) else one for one in wanted]
        response = self.reduced.responses(pairs)
        value = np.stack([network.between(self.voltages, *pair) for pair in pairs])
        through = [(row, one) for row, one in enumerate(wanted) if isinstance(one, int)]
        for row, branch in through:
            response[:, row] *= self.conductances[branch]
            value[row] = self.currents[branch]
        per_log_ohms = network.across(response)
        per_volt = per_log_ohms[sources] * -self.conductances[sources, None]
        per_log_ohms *= self.currents[:, None]  # dv/d ln R = -g dv/dg
        for row, branch in through:
            per_log_ohms[branch, row] -= self.currents[branch]
            if branch in sources:
                per_volt[sources.index(branch), row] += self.conductances[branch]
        return Sensitivity(value, per_log_ohms, per_volt)

    def resistances(self, pairs: Sequence[tuple[str, str]]) -> Sensitivity:
        """Return the ohms between two nodes of dead circuits, with sensitivities to ohms alone."""
        response = self.reduced.responses(pairs)
        per_log_ohms = self.network.across(response) ** 2
        per_log_ohms *= self.conductances[:, None]
        value = np.stack([
            self.network.between(response[:, row], *pair) for row, pair in enumerate(pairs)
        ])  # fmt: skip
        return Sensitivity(value, per_log_ohms, np.zeros((0, *value.shape)))
