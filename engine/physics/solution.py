"""Every hypothesis solved in every situation: which switches are made, then volts and amperes.

A situation is a phase of the machine with the plug on or off, a test lamp or jumper added, or a
part replaced on trial. Switches that need a voltage or a relay coil's pull settle in three steps:
as commanded with relay contacts open; contacts closed where the coil pulls; then what a sagging
supply, a starved coil or a tripped output opens again.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.knowledge import items
from engine.physics.circuit import (
    METER_OHMS,
    OHMMETER_LEAK_OHMS,
    Floats,
    Network,
    Reduced,
    Solved,
)
from engine.physics.hypotheses import Cases, healthy_ohms

Mask = NDArray[np.bool_]
MAX_ROUNDS = 4


@dataclass(frozen=True, order=True)
class Situation:
    """What is connected and when. ``restored`` parts are as new; ``dead`` is without sources."""

    phase: str
    plug_fitted: bool = True
    added: str = "none"
    restored: tuple[str, ...] = ()
    dead: bool = False


@dataclass(frozen=True)
class Solution:
    """The solved networks of each situation.

    Hypotheses that leave the circuit the same are solved once: ``solved`` and ``strength`` have an
    axis of circuits (``Cases.which``).
    """

    network: Network
    cases: Cases
    solved: dict[Situation, Solved] = field(repr=False)
    strength: dict[Situation, Floats] = field(repr=False)

    def volts(self, situation: Situation, start: str, end: str) -> Floats:
        """Return the voltage between two nodes under every hypothesis."""
        return self.network.between(self.solved[situation].voltages, start, end)[self.cases.which]

    def amperes(self, situation: Situation, part: str) -> Floats:
        """Return the current in a part under every hypothesis."""
        return self.solved[situation].current(self.cases.part(part))[self.cases.which]

    def conducts(self, situation: Situation, part: str) -> Mask:
        """Return whether a part conducts under every hypothesis."""
        made = self.solved[situation].conductances[self.cases.part(part)][self.cases.which]
        return np.asarray(made > 0)

    def coil_strength(self, situation: Situation) -> Floats:
        """Return the relay coil's strength over what it operates at, under every hypothesis."""
        return self.strength[situation][self.cases.which]


def solve_situations(
    several: Sequence[Cases], situations: Sequence[Situation]
) -> list[Solution]:  # fmt: skip
    """Solve every hypothesis in every situation, for each of several machines' cases.

    Those with the same network are solved together: most of the time would go into calls.
    """
    alike: dict[tuple[object, ...], list[int]] = {}
    for place, one in enumerate(several):
        between = tuple(part.between for part in one.parts)
        key = (one.variant.circuit.id, one.variant.system_volts, between)
        alike.setdefault(key, []).append(place)
    found: dict[int, Solution] = {}
    for (*_, branches), places in alike.items():
        network = _network(branches)
        batch = _Batch(network, [several[place] for place in places], situations)
        for place, (solved, strength) in zip(places, batch.settled(), strict=True):
            found[place] = Solution(network, several[place], solved, strength)
    return [found[place] for place in range(len(several))]


@lru_cache(maxsize=32)  # as many circuits and coils as there are, a few of a shop's own with them
def _network(branches: tuple[tuple[str, str], ...]) -> Network:
    return Network(branches, "battery-negative")


def _values(cases: Cases, situations: Sequence[Situation]) -> tuple[Floats, Floats]:
    """Return conductances and source volts, shape (part, situation, circuit)."""
    variant = cases.variant
    phases = [items.PHASES.index(one.phase) for one in situations]
    with np.errstate(divide="ignore"):
        conductances, volts = (1.0 / cases.ohms)[:, phases], cases.volts[:, phases]
    dead = [place for place, one in enumerate(situations) if one.dead]
    volts[:, dead] = 0.0
    for place, part in enumerate(cases.parts):
        new = [n for n, one in enumerate(situations) if part.id in (*one.restored, one.added)]
        if new:
            gear = (part.ohms or math.inf) * variant.ohms_factor(part.kind)
            conductances[place, new] = 1.0 / (gear if part.absent else healthy_ohms(part, variant))
        if part.at_plug:
            conductances[place, [n for n, one in enumerate(situations) if not one.plug_fitted]] = 0
        if part.kind == "source":
            conductances[place, dead] = 0.0
    return conductances, volts


def _made(cases: Cases, situations: Sequence[Situation]) -> tuple[Mask, Mask, Mask]:
    """Return what is made at first, and what faults keep closed and open, as the conductances.

    A relay contact is left open: its coil is not looked at yet. A part that is replaced on trial is
    sound.
    """
    phases = [items.PHASES.index(one.phase) for one in situations]
    made = [cases.variant.circuit.phases[one.phase].made for one in situations]
    commanded = np.array([
        [part.kind != "contact" and (not part.switched or part.id in one) for one in made]
        for part in cases.parts
    ])  # fmt: skip
    sound = np.array([[part.id in one.restored for one in situations] for part in cases.parts])
    closed, opened = (
        forced[:, phases] & ~sound[..., None] for forced in (cases.forced_closed, cases.forced_open)
    )
    return (commanded[..., None] | closed) & ~opened, closed, opened


class _Batch:
    """All situations x circuits as one list of networks, solved again where one changed.

    The circuits are those of all ``several``, one behind the other.
    """

    def __init__(
        self, network: Network, several: Sequence[Cases], situations: Sequence[Situation]
    ) -> None:
        self.network, self.parts, self.situations = network, several[0].parts, situations
        self.ratio = several[0].variant.system_volts / 12.0
        self.ends = np.cumsum([one.ohms.shape[2] for one in several]).tolist()

        def beside(parts: Iterable[NDArray[Any]]) -> NDArray[Any]:
            return np.concatenate(list(parts), axis=2)

        self.conductances, self.volts = map(
            beside, zip(*(_values(one, situations) for one in several), strict=True)
        )
        self.made, self.closed, self.opened = map(
            beside, zip(*(_made(one, situations) for one in several), strict=True)
        )
        live = np.array([not one.dead for one in situations])
        self.live = np.broadcast_to(live[:, None], self.made.shape[1:])
        self.voltages = np.zeros((len(network.nodes) + 1, *self.live.shape))

    def settled(self) -> Iterator[tuple[dict[Situation, Solved], dict[Situation, Floats]]]:
        """Yield each one's solved situations and coil strengths, once nothing changes any more."""
        leaks = [OHMMETER_LEAK_OHMS if one.dead else METER_OHMS for one in self.situations]
        self.leaks = np.repeat(leaks, self.live.shape[1])
        self.reduced = self._solved(np.arange(self.live.size))
        self._solve(self._drop_unfed())
        strength = self._coil_strength()
        todo = self._close_contacts(strength)
        for _ in range(MAX_ROUNDS):
            self._solve(todo)
            todo = self._drop_unfed() | self._open_starved() | self._trip()
            if not todo.any():
                break
        else:
            self._solve(todo)
        final, circuits = np.where(self.made, self.conductances, 0.0), self.live.shape[1]
        for start, end in pairwise([0, *self.ends]):
            solved = {}
            for n, one in enumerate(self.situations):
                solved[one] = Solved(*(
                    self.network, final[:, n, start:end], self.volts[:, n, start:end],
                    self.voltages[:, n, start:end], leaks[n],
                ))  # fmt: skip
                mine = slice(n * circuits + start, n * circuits + end)
                solved[one].__dict__["reduced"] = self.reduced.at(mine)
            yield solved, {one: strength[n, start:end] for n, one in enumerate(self.situations)}

    def _solve(self, todo: Mask) -> None:
        """Solve again what changed."""
        if todo.any():
            circuits = np.flatnonzero(todo)
            self.reduced.put(circuits, self._solved(circuits))

    def _solved(self, circuits: NDArray[np.intp]) -> Reduced:
        """Solve some circuits, numbered through all situations."""
        made, conductances, volts = (
            one.reshape(len(one), -1)[:, circuits]
            for one in (self.made, self.conductances, self.volts)
        )
        conductances *= made
        reduced = Reduced.of(self.network, conductances, self.leaks[circuits])
        into = self.network.sourced(conductances, volts)
        voltages = self.voltages.reshape(len(self.voltages), -1)
        voltages[:, circuits] = reduced.turned(into[:, None])[:, 0]
        return reduced

    def _open(self, place: int, fails: Mask) -> Mask:
        """Open a part where ``fails`` and it is made; return where that changed anything."""
        changed: Mask = self.made[place] & fails & self.live
        self.made[place] &= ~changed
        return changed

    def _drop_unfed(self) -> Mask:
        """Open switches whose need of a voltage is not met."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for place, part in enumerate(self.parts):
            for need in part.needs:
                volts = self.network.between(self.voltages, need.node, need.across)
                here = np.array([one.phase in need.phases for one in self.situations])[:, None]
                low = (volts < need.min_volts * self.ratio) & here
                changed |= self._open(place, low & ~self.closed[place])
        return changed

    def _coil_strength(self) -> Floats:
        """Return coil current x nominal coil ohms over the operate voltage (no unit)."""
        strength = np.zeros(self.live.shape)
        for part in self.parts:
            if part.kind == "contact":
                strength = self._coil_volts(part) / (part.operate_volts * self.ratio)
        return strength

    def _coil_volts(self, contact: items.Part) -> Floats:
        """Return the voltage that counts at a contact's coil: none where the coil is open."""
        assert contact.operated_by is not None
        across = self.network.between(self.voltages, *contact.operated_by)
        coil = next(
            place for place, part in enumerate(self.parts) if part.between == contact.operated_by
        )
        nominal = self.parts[coil].ohms or 1.0
        current = np.where(self.made[coil], self.conductances[coil], 0.0) * across
        return current * nominal * self.ratio**2

    def _close_contacts(self, strength: Floats) -> Mask:
        """Close contacts whose coil pulls, unless a fault keeps them open."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for place, part in enumerate(self.parts):
            if part.kind == "contact":
                closes = (strength >= 1.0) & ~self.made[place] & ~self.opened[place] & self.live
                self.made[place] |= closes
                changed |= closes
        return changed

    def _open_starved(self) -> Mask:
        """Open contacts whose coil fell below its release voltage (they would chatter)."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for place, part in enumerate(self.parts):
            if part.kind == "contact":
                weak = self._coil_volts(part) < part.release_volts * self.ratio
                changed |= self._open(place, weak & ~self.closed[place])
        return changed

    def _trip(self) -> Mask:
        """Open outputs and feeds that carry more than they can."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for place, part in enumerate(self.parts):
            if part.trips_at_amps is not None:
                conductance = np.where(self.made[place], self.conductances[place], 0.0)
                across = self.network.between(self.voltages, *part.between) + self.volts[place]
                over = np.abs(conductance * across) > part.trips_at_amps / self.ratio
                changed |= self._open(place, over)
        return changed
