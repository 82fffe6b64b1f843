"""Every hypothesis solved in every situation: which switches are made, then volts and amperes.

A situation is a phase of the machine with the plug on or off, a test lamp or jumper added, or a
part replaced on trial. Switches that need a voltage or a relay coil's pull settle in three steps:
as commanded with relay contacts open; contacts closed where the coil pulls; then what a sagging
supply, a starved coil or a tripped output opens again.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

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
ALL = slice(None)


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
        variant = one.variant
        key = (variant.circuit.id, variant.system_volts, variant.otherwise, between)
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


class _Batch:
    """All situations x circuits as one list of networks, solved again where one changed.

    The circuits are those of all ``several``, one behind the other. Axes: part, situation, circuit.
    """

    def __init__(
        self, network: Network, several: Sequence[Cases], situations: Sequence[Situation]
    ) -> None:
        self.network, self.parts, self.situations = network, several[0].parts, situations
        self.ratio = several[0].variant.system_volts / 12.0
        ends = np.cumsum([0, *(one.ohms.shape[2] for one in several)]).tolist()
        self.places = [slice(start, end) for start, end in pairwise(ends)]
        shape = (len(self.parts), len(situations), ends[-1])
        self.conductances, self.volts = np.empty(shape), np.zeros(shape)
        self.closed, self.opened = np.empty(shape, dtype=bool), np.empty(shape, dtype=bool)
        for cases, mine in zip(several, self.places, strict=True):
            self._lay(cases, mine)
        self.sources = sorted({n for one in several for n in one.sources})
        made = [several[0].variant.circuit.phases[one.phase].made for one in situations]
        commanded = np.array([  # a relay contact is left open: its coil is not looked at yet
            [part.kind != "contact" and (not part.switched or part.id in one) for one in made]
            for part in self.parts
        ])  # fmt: skip
        self.made = (commanded[..., None] | self.closed) & ~self.opened
        live = np.array([not one.dead for one in situations])
        self.live = np.broadcast_to(live[:, None], shape[1:])

    def _lay(self, cases: Cases, mine: slice) -> None:
        """Lay in one's conductances, the volts of its sources and what faults keep as it is.

        A part that is replaced on trial is sound.
        """
        variant = cases.variant
        with np.errstate(divide="ignore"):
            siemens = 1.0 / cases.ohms
        at_plug = [n for n, part in enumerate(cases.parts) if part.at_plug]
        batteries = [n for n, part in enumerate(cases.parts) if part.kind == "source"]
        for n, one in enumerate(self.situations):
            phase, here = items.PHASES.index(one.phase), self.conductances[:, n, mine]
            here[:] = siemens[:, phase]
            self.closed[:, n, mine] = cases.forced_closed[:, phase]
            self.opened[:, n, mine] = cases.forced_open[:, phase]
            for name in (*one.restored, one.added):
                place = cases.places.get(name)
                if place is None:
                    continue
                part = cases.parts[place]
                gear = (part.ohms or math.inf) * variant.ohms_factor(part.kind)
                here[place] = 1.0 / (gear if part.absent else healthy_ohms(part, variant))
                if name in one.restored:
                    self.closed[place, n, mine] = self.opened[place, n, mine] = False
            if not one.plug_fitted:
                here[at_plug] = 0.0
            if one.dead:
                here[batteries] = 0.0
            else:
                self.volts[cases.sources, n, mine] = cases.volts[cases.sources, phase]

    def settled(self) -> Iterator[tuple[dict[Situation, Solved], dict[Situation, Floats]]]:
        """Yield each one's solved situations and coil strengths, once nothing changes any more."""
        leaks = [OHMMETER_LEAK_OHMS if one.dead else METER_OHMS for one in self.situations]
        self.leaks = np.repeat(leaks, self.live.shape[1])
        self.conducting, self.reduced, voltages = self._solved(ALL)
        self.voltages = voltages.reshape(-1, *self.live.shape)
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
        final, circuits = self.conducting.reshape(self.made.shape), self.live.shape[1]
        for place in self.places:
            solved = {}
            for n, one in enumerate(self.situations):
                mine = slice(n * circuits + place.start, n * circuits + place.stop)
                solved[one] = Solved(
                    self.network, final[:, n, place], self.volts[:, n, place],
                    self.voltages[:, n, place], self.reduced.at(mine),
                )  # fmt: skip
            yield solved, {one: strength[n, place] for n, one in enumerate(self.situations)}

    def _solve(self, todo: Mask) -> None:
        """Solve again what changed."""
        if todo.any():
            circuits = np.flatnonzero(todo)
            self.conducting[:, circuits], reduced, voltages = self._solved(circuits)
            self.reduced.put(circuits, reduced)
            self.voltages.reshape(len(self.voltages), -1)[:, circuits] = voltages

    def _solved(self, circuits: NDArray[np.intp] | slice) -> tuple[Floats, Reduced, Floats]:
        """Solve some circuits, numbered through all situations; return what conducts as well."""
        conductances, volts = (
            one.reshape(len(one), -1)[:, circuits]
            for one in (self.conductances, self.volts[self.sources])
        )
        now = conductances * self.made.reshape(len(self.made), -1)[:, circuits]
        reduced = Reduced.of(self.network, now, self.leaks[circuits])
        return now, reduced, reduced.driven(now, self.sources, volts)

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
