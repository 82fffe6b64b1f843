"""Hypotheses: a cause in a degree of severity, as arrays of what it does to the circuit.

A cause's range of severities is cut into a few points, spread evenly in logarithms. Each point
stands for its neighbourhood: the neighbourhood's width goes into the uncertainty of every
prediction (see engine.physics.prediction), so that readings between two points are not orphaned.
"""

import dataclasses
import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import zip_longest
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.calculations.copper import resistance_at
from engine.knowledge import items
from engine.knowledge.items import applies
from engine.physics.circuit import Floats
from engine.physics.machine import Variant

Indexes = NDArray[np.intp]
POINTS_PER_DECADE = 4
MIN_POINTS = 3
# Half the distance between neighbours: enough overlap that the mixture over points has no gaps.
KERNEL_SHARE = 0.5
_BY_SEVERITY = ("ohms", "add_ohms", "times_ohms", "volts")
_OF_OHMS = ("open", "ohms", "add_ohms", "times_ohms")


@dataclass(frozen=True)
class Hypothesis:
    """One cause at one severity. ``log_width`` is the neighbourhood's standard uncertainty."""

    cause: str
    state: str
    weight: float
    changes: tuple[items.Change, ...]
    place: float = 0.5
    log_width: float = 0.0
    fuse_opened: bool = False

    @property
    def in_circuit(self) -> tuple[object, ...]:
        """Return what it makes of the circuit: those with the same leave it the same."""
        return self.fuse_opened, *(
            (one, self.place if one.action in _BY_SEVERITY else None)
            for one in self.changes if one.target == "part"
        )  # fmt: skip

    def level(self, change: items.Change) -> float:
        """Return the number that a change has at this severity."""
        return change.start * math.exp(self.place * change.span)


def spread(cause: items.Cause, system_volts: int) -> list[Hypothesis]:
    """Return a cause's hypotheses, weights summing to 1; empty if no state fits the voltage."""
    states = [state for state in cause.states if system_volts in state.system_volts]
    total = sum(state.weight for state in states)
    found = []
    for state in states:
        decades = [abs(math.log10(one.to / one.start)) for one in state.changes if one.span]
        count = max(MIN_POINTS, math.ceil(POINTS_PER_DECADE * max(decades))) if decades else 1
        found += [
            Hypothesis(
                cause.id,
                state.id,
                state.weight / total / count,
                state.changes,
                place=(number + 0.5) / count,
                log_width=KERNEL_SHARE / count if count > 1 else 0.0,
            )
            for number in range(count)
        ]
    return found


def enumerate_hypotheses(causes: Mapping[str, items.Cause], variant: Variant) -> list[Hypothesis]:
    """Return every hypothesis about the variant; weight is P(state | cause)."""
    return [
        hypothesis
        for cause in causes.values()
        if applies(cause.applies, **variant.facts)
        for hypothesis in spread(cause, variant.system_volts)
    ]


def both(first: Hypothesis, second: Hypothesis) -> Hypothesis:
    """Return the hypothesis that both hold at once."""
    return dataclasses.replace(
        first,
        cause=f"{first.cause}+{second.cause}",
        state=f"{first.state}+{second.state}",
        weight=first.weight * second.weight,
        changes=(*_frozen(first), *_frozen(second)),
        log_width=0.0,
    )


def _frozen(hypothesis: Hypothesis) -> tuple[items.Change, ...]:
    """Return the changes with their ranges fixed at the hypothesis' severity."""
    fixed = []
    for change in hypothesis.changes:
        level = hypothesis.level(change)
        fixed.append(dataclasses.replace(change, start=level, to=level))
    return tuple(fixed)


@dataclass(frozen=True)
class Cases:
    """All hypotheses as arrays. Axes: part, phase (as items.PHASES), circuit.

    Many faults (a jammed lock, an empty tank) leave the circuit as it is: ``which`` is the circuit
    that each hypothesis has, and ``place`` where it stands in ``faults``. ``drifts`` say how parts
    move along severities, per unit of a hypothesis' place: rows of circuit, phase, part, log ohms
    and volts.
    """

    variant: Variant
    faults: "Faults"
    hypotheses: tuple[Hypothesis, ...]
    place: Indexes
    which: Indexes
    ohms: Floats  # infinite where open
    volts: Floats
    forced_closed: NDArray[np.bool_]
    forced_open: NDArray[np.bool_]
    drifts: Floats

    @property
    def parts(self) -> tuple[items.Part, ...]:
        """Return the parts of the circuit."""
        return self.faults.parts

    def setting(self, name: str) -> Floats:
        """Return a setting's value under every hypothesis."""
        return self.faults.settings[name][self.place]

    @cached_property
    def places(self) -> Mapping[str, int]:
        """The place of each part on the part axis."""
        return {part.id: place for place, part in enumerate(self.parts)}

    @cached_property
    def sources(self) -> list[int]:
        """Return the places of the parts that have volts in some circuit."""
        found: list[int] = np.flatnonzero(self.volts.any(axis=(1, 2))).tolist()
        return found

    def drifts_in(self, phase: int) -> Floats:
        """Return how parts move in a phase, circuit by circuit."""
        rows = self.drifts[self.drifts[:, 1] == phase]
        return rows[np.argsort(rows[:, 0], kind="stable")]

    def part(self, name: str) -> int:
        """Return a part's place on the part axis."""
        return self.places[name]

    def of(self, hypotheses: Sequence[Hypothesis], place: Indexes) -> "Cases":
        """Return the cases of others that change what those at these places do.

        They may differ from them in their weight and in a fuse that opened.
        """
        opened = np.array([one.fuse_opened for one in hypotheses])
        whole = self.which[place]
        twins, mine = np.unique(whole[opened], return_inverse=True)
        which, count = whole.copy(), self.ohms.shape[2]
        which[opened] = count + mine

        moved = self.drifts[np.isin(self.drifts[:, 0], twins)]
        moved[:, 0] = count + np.searchsorted(twins, moved[:, 0])

        def beside(one: NDArray[Any]) -> NDArray[Any]:
            return np.concatenate([one, one[..., twins]], axis=2)

        taken = dataclasses.replace(
            self, hypotheses=tuple(hypotheses), place=self.place[place], which=which,
            ohms=beside(self.ohms), volts=beside(self.volts),
            forced_closed=beside(self.forced_closed), forced_open=beside(self.forced_open),
            drifts=np.concatenate([self.drifts, moved]),
        )  # fmt: skip
        taken.open_fuses(range(count, count + len(twins)))
        return taken

    def open_fuses(self, circuits: Iterable[int]) -> None:
        """Open the fuse of the pull in some of the circuits."""
        fuses = [place for place, part in enumerate(self.parts) if part.blade_fuse]
        self.ohms[fuses[:1], :, list(circuits)] = math.inf


def healthy_ohms(part: items.Part, variant: Variant) -> float:
    """Return a part's ohms in a good machine at ambient temperature (infinite when absent)."""
    if part.absent or part.ohms is None:
        return math.inf
    ohms = part.ohms * variant.ohms_factor(part.kind)
    ohms = {"pull-winding": variant.pull_ohms, "hold-winding": variant.hold_ohms}.get(part.id, ohms)
    ohms *= 1.0 + part.cold * max(20.0 - variant.ambient_celsius, 0.0)
    copper = resistance_at(1.0, 20.0, variant.ambient_celsius) if part.copper else 1.0
    return ohms * copper


@dataclass(frozen=True)
class Faults:
    """What hypotheses change in machines of one kind, whatever the figures of each machine.

    As in Cases, but for the ohms: ``turns`` are their changes, those of one part in one phase one
    after the other. A row is circuit, phase, part; the times and the ohms that are added then; and
    how the logarithm moves along the severity, by itself and times the share that was added.
    ``settings`` are the values of each under every hypothesis.
    """

    hypotheses: tuple[Hypothesis, ...]
    which: Indexes
    parts: tuple[items.Part, ...]
    settings: Mapping[str, Floats]
    volts: Floats
    forced_closed: NDArray[np.bool_]
    forced_open: NDArray[np.bool_]
    turns: tuple[Floats, ...]
    moved_volts: Floats  # rows of circuit, phase, part, volts
    blown: Sequence[int]  # circuits whose fuse opened
    tables: dict[str, Any] = field(init=False, repr=False, default_factory=dict)  # by check

    @classmethod
    def of(cls, hypotheses: Sequence[Hypothesis], variant: Variant) -> "Faults":
        """Work out what hypotheses change in machines like a variant."""
        circuit = variant.circuit.with_coil(variant.coil)
        places = {name: place for place, name in enumerate(circuit.parts)}
        first: dict[tuple[object, ...], Hypothesis] = {}
        for one in hypotheses:
            first.setdefault(one.in_circuit, one)
        numbers = {key: number for number, key in enumerate(first)}
        shape = (len(places), len(items.PHASES), len(first))
        volts = np.array([variant.phase_volts(one) for one in circuit.parts.values()])
        volts = np.broadcast_to(volts[..., None], shape).copy()
        closed, opened = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        turns, moved_volts = list[list[tuple[float, ...]]](), list[tuple[float, ...]]()
        for number, one in enumerate(first.values()):
            seen: Counter[tuple[int, int]] = Counter()
            for change in one.changes:
                if change.target == "setting":
                    continue
                place = places[change.id]
                phases = [n for n, name in enumerate(items.PHASES) if name in change.phases]
                if change.action in ("open", "never"):
                    opened[place, phases, number] = True
                elif change.action == "closed":
                    closed[place, phases, number] = True
                elif change.action == "volts":
                    now = one.level(change) * variant.system_volts / 12.0
                    volts[place, phases, number] = now
                    moved_volts += [(number, phase, place, now * change.span) for phase in phases]
                if change.action in _OF_OHMS:
                    how = _of_ohms(change, one, variant, circuit.parts[change.id].kind)
                    for phase in phases:
                        turns += [[]] * (seen[phase, place] == len(turns))
                        turns[seen[phase, place]].append((number, phase, place, *how))
                        seen[phase, place] += 1
        return cls(
            tuple(hypotheses), np.array([numbers[one.in_circuit] for one in hypotheses]),
            tuple(circuit.parts.values()), _settings(hypotheses, circuit), volts, closed, opened,
            tuple(np.array(one) for one in turns), np.array(moved_volts).reshape(-1, 4),
            [number for number, one in enumerate(first.values()) if one.fuse_opened],
        )  # fmt: skip

    def on(self, variant: Variant) -> Cases:
        """Return the hypotheses on one machine of this kind."""
        healthy = np.array([healthy_ohms(one, variant) for one in self.parts])
        ohms = np.broadcast_to(healthy[:, None, None], self.volts.shape).copy()
        drifts = [np.insert(self.moved_volts, 3, 0.0, axis=1)]
        for turn in self.turns:
            circuit, phase, part = turn[:, :3].T.astype(np.intp)
            times, added, by_itself, by_share = turn[:, 3:].T
            with np.errstate(invalid="ignore"):  # an absent part that is put in
                now = np.where(times > 0, ohms[part, phase, circuit] * times, 0.0) + added
            ohms[part, phase, circuit] = now
            along = by_itself + by_share * added / now
            drifts.append(np.column_stack([turn[:, :3], along, np.zeros(len(turn))])[along != 0])
        cases = Cases(
            variant, self, self.hypotheses, np.arange(len(self.hypotheses)), self.which, ohms,
            self.volts, self.forced_closed, self.forced_open, np.concatenate(drifts),
        )  # fmt: skip
        cases.open_fuses(self.blown)
        return cases

    @cached_property
    def log_widths(self) -> Floats:
        """The neighbourhood's standard uncertainty of each hypothesis, in logs."""
        return np.array([one.log_width for one in self.hypotheses])

    def rows_of(self, names: Sequence[str]) -> Indexes:
        """Return the number of the row of a table that each cause of each hypothesis has, or -1.

        A row is of a cause or of one state of it, which wins. Of shape (cause, hypothesis): a pair
        has two causes.
        """
        places = {name: number for number, name in enumerate(names)}
        states = [
            [
                (f"{cause}/{state}", cause)
                for cause, state in zip(one.cause.split("+"), one.state.split("+"), strict=True)
            ]
            for one in self.hypotheses
        ]
        return np.array([
            [next((places[name] for name in names if name in places), -1) for names in causes]
            for causes in zip_longest(*states, fillvalue=())
        ])  # fmt: skip


def make_cases(hypotheses: Sequence[Hypothesis], variant: Variant) -> Cases:
    """Apply every hypothesis' changes to the variant's circuit."""
    return Faults.of(hypotheses, variant).on(variant)


def _settings(hypotheses: Sequence[Hypothesis], circuit: items.Circuit) -> dict[str, Floats]:
    """Return the settings under every hypothesis."""
    values = {name: np.full(len(hypotheses), one.healthy) for name, one in circuit.settings.items()}
    for number, hypothesis in enumerate(hypotheses):
        for change in hypothesis.changes:
            if change.target == "setting":
                level, value = hypothesis.level(change), values[change.id]
                value[number] = value[number] * level if change.action == "times" else level
    return values


def _of_ohms(
    change: items.Change, hypothesis: Hypothesis, variant: Variant, kind: str
) -> tuple[float, float, float, float]:
    """Return how ohms change and how that moves along the severity, as in Faults."""
    if change.action == "open":
        return math.inf, 0.0, 0.0, 0.0
    level = hypothesis.level(change)
    if change.action == "times_ohms":
        return level, 0.0, change.span, 0.0
    here, mildest, worst = (
        variant.circuit.fault_factor(variant.system_volts, kind, one)
        for one in (hypothesis.place, 0.0, 1.0)
    )
    span = change.span + math.log(worst / mildest) if change.span else 0.0
    return float(change.action == "add_ohms"), level * here, 0.0, span
