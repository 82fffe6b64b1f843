"""Every hypothesis solved in every situation: which switches are made, then volts and amperes.

A situation is a phase of the machine with the plug on or off, a test lamp or jumper added, or a
part replaced on trial. Switches that need a voltage or a relay coil's pull settle in three steps:
as commanded with relay contacts open; contacts closed where the coil pulls; then what a sagging
supply, a starved coil or a tripped output opens again.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from engine.knowledge import items
from engine.physics.circuit import METER_OHMS, OHMMETER_LEAK_OHMS, Floats, Network, Solved
from engine.physics.hypotheses import Cases, healthy_ohms
from engine.physics.machine import Variant

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

    Hypotheses that leave the circuit the same are solved once: the leading axis of ``solved`` and
    ``strength`` is the different circuits, and ``which`` says which of them each hypothesis has.
    """

    network: Network
    cases: Cases
    which: NDArray[np.intp]
    solved: dict[Situation, Solved] = field(repr=False)
    strength: dict[Situation, Floats] = field(repr=False)

    def volts(self, situation: Situation, start: str, end: str) -> Floats:
        """Return the voltage between two nodes under every hypothesis."""
        pick = self.network.unit(start) - self.network.unit(end)
        return (self.solved[situation].voltages @ pick)[self.which]

    def amperes(self, situation: Situation, part: str) -> Floats:
        """Return the current in a part under every hypothesis."""
        return self.solved[situation].currents[self.which, self.cases.part(part)]

    def conducts(self, situation: Situation, part: str) -> Mask:
        """Return whether a part conducts under every hypothesis."""
        made = self.solved[situation].conductances[self.which, self.cases.part(part)]
        return np.asarray(made > 0)

    def coil_strength(self, situation: Situation) -> Floats:
        """Return the relay coil's strength over what it operates at, under every hypothesis."""
        return self.strength[situation][self.which]


def solve_situations(cases: Cases, variant: Variant, situations: Sequence[Situation]) -> Solution:
    """Solve every hypothesis in every situation."""
    network, every = _network(tuple(one.between for one in cases.parts)), cases
    cases, which = cases.different()
    batch = _Batch(network, cases, variant, situations)
    voltages, strength = batch.settled()
    final = np.where(batch.made, batch.conductances, 0.0)
    solved = {
        one: Solved(network, final[n], batch.volts[n], voltages[n],
                    OHMMETER_LEAK_OHMS if one.dead else METER_OHMS)
        for n, one in enumerate(situations)
    }  # fmt: skip
    return Solution(
        network, every, which, solved, {one: strength[n] for n, one in enumerate(situations)}
    )


@lru_cache(maxsize=32)  # as many circuits and coils as there are, a few of a shop's own with them
def _network(branches: tuple[tuple[str, str], ...]) -> Network:
    return Network(branches, "battery-negative")


def _values(
    cases: Cases, variant: Variant, situations: Sequence[Situation]
) -> tuple[Floats, Floats]:
    """Return conductances and source volts, shape (situation, hypothesis, part)."""
    phases = [items.PHASES.index(one.phase) for one in situations]
    ohms, volts = cases.ohms[phases], cases.volts[phases]
    dead = [place for place, one in enumerate(situations) if one.dead]
    volts[dead] = 0.0
    for column, part in enumerate(cases.parts):
        new = [n for n, one in enumerate(situations) if part.id in (*one.restored, one.added)]
        if new:
            gear = (part.ohms or math.inf) * variant.ohms_factor(part.kind)
            ohms[new, :, column] = gear if part.absent else healthy_ohms(part, variant)
        if part.at_plug:
            off = [n for n, one in enumerate(situations) if not one.plug_fitted]
            ohms[off, :, column] = math.inf
        if part.kind == "source":
            ohms[dead, :, column] = math.inf
    with np.errstate(divide="ignore"):
        return 1.0 / ohms, volts


def _commanded(cases: Cases, variant: Variant, situations: Sequence[Situation]) -> Mask:
    """Return which parts the command makes, shape (situation, 1, part).

    A relay contact is left open: its coil is not looked at yet.
    """
    return np.array([
        [part.kind != "contact" and (not part.switched or part.id in one) for part in cases.parts]
        for one in (variant.circuit.phases[situation.phase].made for situation in situations)
    ])[:, None]  # fmt: skip


def _forced(cases: Cases, situations: Sequence[Situation]) -> tuple[Mask, Mask]:
    """Return what faults keep closed and open, shape as the conductances.

    A part that is replaced on trial is sound.
    """
    phases = [items.PHASES.index(one.phase) for one in situations]
    sound = np.array([[part.id in one.restored for part in cases.parts] for one in situations])
    closed, opened = cases.forced_closed[phases], cases.forced_open[phases]
    return closed & ~sound[:, None], opened & ~sound[:, None]


class _Batch:
    """All live situations x hypotheses as one list of networks, solved again where one changed."""

    def __init__(
        self, network: Network, cases: Cases, variant: Variant, situations: Sequence[Situation]
    ) -> None:
        self.network, self.cases, self.situations = network, cases, situations
        self.ratio = variant.system_volts / 12.0
        self.conductances, self.volts = _values(cases, variant, situations)
        self.closed, self.opened = _forced(cases, situations)
        self.made = (_commanded(cases, variant, situations) | self.closed) & ~self.opened
        live = np.array([not one.dead for one in situations])
        self.live = np.broadcast_to(live[:, None], self.conductances.shape[:2])

    def settled(self) -> tuple[Floats, Floats]:
        """Return node voltages and coil strength, ``made`` changed until nothing changes."""
        voltages = np.zeros((*self.live.shape, len(self.network.nodes)))
        self._solve(voltages, self.live)
        self._solve(voltages, self._drop_unfed(voltages))
        strength = self._coil_strength(voltages)
        todo = self._close_contacts(strength)
        for _ in range(MAX_ROUNDS):
            self._solve(voltages, todo)
            todo = self._drop_unfed(voltages) | self._open_starved(voltages) | self._trip(voltages)
            if not todo.any():
                break
        else:
            self._solve(voltages, todo)
        return voltages, strength

    def _solve(self, voltages: Floats, todo: Mask) -> None:
        if not todo.any():
            return
        now = np.where(self.made[todo], self.conductances[todo], 0.0)
        voltages[todo] = self.network.voltages(now, self.volts[todo])

    def _between(self, voltages: Floats, start: str, end: str) -> Floats:
        return voltages @ (self.network.unit(start) - self.network.unit(end))

    def _open(self, column: int, fails: Mask) -> Mask:
        """Open a part where ``fails`` and it is made; return where that changed anything."""
        changed: Mask = self.made[:, :, column] & fails & self.live
        self.made[:, :, column] &= ~changed
        return changed

    def _drop_unfed(self, voltages: Floats) -> Mask:
        """Open switches whose need of a voltage is not met."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for column, part in enumerate(self.cases.parts):
            for need in part.needs:
                low = self._between(voltages, need.node, need.across) < need.min_volts * self.ratio
                here = np.array([one.phase in need.phases for one in self.situations])[:, None]
                changed |= self._open(column, low & here & ~self.closed[:, :, column])
        return changed

    def _coil_strength(self, voltages: Floats) -> Floats:
        """Return coil current x nominal coil ohms over the operate voltage (no unit)."""
        strength = np.zeros(self.live.shape)
        for part in self.cases.parts:
            if part.kind == "contact":
                strength = self._coil_volts(voltages, part) / (part.operate_volts * self.ratio)
        return strength

    def _coil_volts(self, voltages: Floats, contact: items.Part) -> Floats:
        """Return the voltage that counts at a contact's coil: none where the coil is open."""
        assert contact.operated_by is not None
        across = self._between(voltages, *contact.operated_by)
        coil = next(
            column for column, part in enumerate(self.cases.parts)
            if part.between == contact.operated_by
        )  # fmt: skip
        nominal = self.cases.parts[coil].ohms or 1.0
        current = np.where(self.made[:, :, coil], self.conductances[:, :, coil], 0.0) * across
        return current * nominal * self.ratio**2

    def _close_contacts(self, strength: Floats) -> Mask:
        """Close contacts whose coil pulls, unless a fault keeps them open."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for column, part in enumerate(self.cases.parts):
            if part.kind != "contact":
                continue
            can = ~self.made[:, :, column] & ~self.opened[:, :, column] & self.live
            closes = (strength >= 1.0) & can
            self.made[:, :, column] |= closes
            changed |= closes
        return changed

    def _open_starved(self, voltages: Floats) -> Mask:
        """Open contacts whose coil fell below its release voltage (they would chatter)."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for column, part in enumerate(self.cases.parts):
            if part.kind == "contact":
                weak = self._coil_volts(voltages, part) < part.release_volts * self.ratio
                changed |= self._open(column, weak & ~self.closed[:, :, column])
        return changed

    def _trip(self, voltages: Floats) -> Mask:
        """Open outputs and feeds that carry more than they can."""
        changed = np.zeros(self.live.shape, dtype=bool)
        for column, part in enumerate(self.cases.parts):
            if part.trips_at_amps is not None:
                conductance = np.where(self.made[:, :, column], self.conductances[:, :, column], 0)
                across = self._between(voltages, *part.between) + self.volts[:, :, column]
                over = np.abs(conductance * across) > part.trips_at_amps / self.ratio
                changed |= self._open(column, over)
        return changed
