"""Hypotheses: a cause in a degree of severity, as arrays of what it does to the circuit.

A cause's range of severities is cut into a few points, spread evenly in logarithms. Each point
stands for its neighbourhood: the neighbourhood's width goes into the uncertainty of every
prediction (see engine.physics.prediction), so that readings between two points are not orphaned.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

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


# How a part moves along a hypothesis' severity (per unit of ``place``): the places of phase and
# part, log ohms, volts.
Drift = tuple[int, int, float, float]


@dataclass(frozen=True)
class Cases:
    """All hypotheses as arrays. Axes: part, phase (as items.PHASES), hypothesis."""

    variant: Variant
    hypotheses: tuple[Hypothesis, ...]
    parts: tuple[items.Part, ...]
    settings: tuple[str, ...]
    ohms: Floats  # infinite where open
    volts: Floats
    forced_closed: NDArray[np.bool_]
    forced_open: NDArray[np.bool_]
    setting_values: Floats  # (hypothesis, setting)
    drifts: tuple[tuple[Drift, ...], ...]  # of each hypothesis

    def setting(self, name: str) -> Floats:
        """Return a setting's value under every hypothesis."""
        return self.setting_values[:, self.settings.index(name)]

    @cached_property
    def _places(self) -> Mapping[str, int]:
        return {part.id: place for place, part in enumerate(self.parts)}

    def part(self, name: str) -> int:
        """Return a part's place on the part axis."""
        return self._places[name]

    def different(self) -> tuple["Cases", Indexes]:
        """Return one case of each circuit that differs, and which of them each hypothesis has.

        Many faults (a jammed lock, an empty tank) leave the circuit as it is.
        """
        arrays = [self.ohms, self.volts, self.forced_closed, self.forced_open]
        by_case = [
            np.ascontiguousarray(np.moveaxis(one, 2, 0)).reshape(len(self.hypotheses), -1)
            for one in arrays
        ]
        raw = np.concatenate([one.view(np.uint8) for one in by_case], axis=1)
        places: dict[bytes, int] = {}
        which = [places.setdefault(one.tobytes(), len(places)) for one in raw]
        _, first = np.unique(which, return_index=True)
        few = self._taken([self.hypotheses[n] for n in first], first)
        return few, np.array(which, dtype=np.intp)

    def of(self, hypotheses: Sequence[Hypothesis], place: Sequence[int]) -> "Cases":
        """Return the cases of others that change what those at these places do.

        They may differ from them in their weight and in a fuse that opened.
        """
        taken = self._taken(hypotheses, np.asarray(place, dtype=np.intp))
        taken._open_fuses()
        return taken

    def _taken(self, hypotheses: Sequence[Hypothesis], place: Indexes) -> "Cases":
        """Return what is at these places, as copies."""
        return dataclasses.replace(
            self, hypotheses=tuple(hypotheses),
            ohms=self.ohms[..., place], volts=self.volts[..., place],
            forced_closed=self.forced_closed[..., place], forced_open=self.forced_open[..., place],
            setting_values=self.setting_values[place],
            drifts=tuple(self.drifts[number] for number in place),
        )  # fmt: skip

    def _open_fuses(self) -> None:
        opened = [number for number, one in enumerate(self.hypotheses) if one.fuse_opened]
        if opened:
            fuse = next(place for place, part in enumerate(self.parts) if part.blade_fuse)
            self.ohms[fuse, :, opened] = math.inf

    @cached_property
    def drift_columns(self) -> Sequence[tuple[Indexes, Indexes, Floats, Floats]]:
        """Return the drifts of each phase as columns: hypothesis, part, log ohms and volts.

        Ohms and volts are those over the neighbourhood that the hypothesis stands for.
        """
        rows = [
            (phase, number, part, log_ohms * one.log_width, volts * one.log_width)
            for number, (one, mine) in enumerate(zip(self.hypotheses, self.drifts, strict=True))
            for phase, part, log_ohms, volts in mine
        ]
        table = np.array(rows, dtype=np.float64).reshape(-1, 5)
        phases, numbers, parts = table[:, :3].T.astype(np.intp)
        found = (np.flatnonzero(phases == phase) for phase in range(len(items.PHASES)))
        return [(numbers[at], parts[at], table[at, 3], table[at, 4]) for at in found]

    @cached_property
    def rows(self) -> Mapping[str, Sequence[tuple[int, int]]]:
        """Return which hypotheses a table's row may be about, by the row's name.

        A row is of a cause or of one state of it; the second number counts the causes of a pair.
        """
        found: dict[str, list[tuple[int, int]]] = {}
        for number, hypothesis in enumerate(self.hypotheses):
            states = zip(hypothesis.cause.split("+"), hypothesis.state.split("+"), strict=True)
            for nth, (cause, state) in enumerate(states):
                for name in (f"{cause}/{state}", cause):
                    found.setdefault(name, []).append((number, nth))
        return found


def healthy_ohms(part: items.Part, variant: Variant) -> float:
    """Return a part's ohms in a good machine at ambient temperature (infinite when absent)."""
    if part.absent or part.ohms is None:
        return math.inf
    ohms = part.ohms * variant.ohms_factor(part.kind)
    ohms = {"pull-winding": variant.pull_ohms, "hold-winding": variant.hold_ohms}.get(part.id, ohms)
    ohms *= 1.0 + part.cold * max(20.0 - variant.ambient_celsius, 0.0)
    copper = resistance_at(1.0, 20.0, variant.ambient_celsius) if part.copper else 1.0
    return ohms * copper


def make_cases(hypotheses: Sequence[Hypothesis], variant: Variant) -> Cases:
    """Apply every hypothesis' changes to the variant's circuit."""
    circuit = variant.circuit.with_coil(variant.coil)
    parts, settings = tuple(circuit.parts.values()), tuple(circuit.settings)
    shape = (len(parts), len(items.PHASES), len(hypotheses))
    healthy = [circuit.settings[one].healthy for one in settings]
    cases = Cases(
        variant, tuple(hypotheses), parts, settings,
        ohms=np.broadcast_to(
            np.array([healthy_ohms(one, variant) for one in parts])[:, None, None], shape
        ).copy(),
        volts=np.broadcast_to(
            np.array([variant.phase_volts(one) for one in parts])[..., None], shape
        ).copy(),
        forced_closed=np.zeros(shape, dtype=bool), forced_open=np.zeros(shape, dtype=bool),
        setting_values=np.tile(healthy, (len(hypotheses), 1)), drifts=(),
    )  # fmt: skip
    drifts: list[tuple[Drift, ...]] = []
    for number, hypothesis in enumerate(hypotheses):
        mine: list[Drift] = []
        for change in hypothesis.changes:
            level = hypothesis.level(change)
            if change.target == "setting":
                value = cases.setting(change.id)
                value[number] = value[number] * level if change.action == "times" else level
                continue
            mine += _alter(cases, number, change, level, variant)
        drifts.append(tuple(mine))
    cases._open_fuses()
    return dataclasses.replace(cases, drifts=tuple(drifts))


def _alter(
    cases: Cases, number: int, change: items.Change, level: float, variant: Variant
) -> list[Drift]:
    """Change one part under a hypothesis; return how it moves along the severity, by phase."""
    place = cases.part(change.id)
    phases = [n for n, name in enumerate(items.PHASES) if name in change.phases]
    if change.action == "open":
        cases.ohms[place, phases, number] = math.inf
    if change.action in ("open", "never"):
        cases.forced_open[place, phases, number] = True
    elif change.action == "closed":
        cases.forced_closed[place, phases, number] = True
    elif change.action == "volts":
        cases.volts[place, phases, number] = volts = level * variant.system_volts / 12.0
        return [(phase, place, 0.0, volts * change.span) for phase in phases]
    else:
        severity, kind = cases.hypotheses[number].place, cases.parts[place].kind
        factors = [
            variant.circuit.fault_factor(variant.system_volts, kind, one)
            for one in (severity, 0.0, 1.0)
        ]
        before = cases.ohms[place, phases, number]
        ohms, along = _altered_ohms(before, change, level, factors)
        cases.ohms[place, phases, number] = ohms
        moves = zip(phases, along.tolist(), strict=True)
        return [(phase, place, log_ohms, 0.0) for phase, log_ohms in moves]
    return []


def _altered_ohms(
    before: Floats, change: items.Change, level: float, factors: Sequence[float]
) -> tuple[Floats, Floats]:
    """Return changed ohms and how their logarithm moves along the severity.

    ``factors`` of the system volts are those at the severity, the mildest and the worst.
    """
    if change.action == "times_ohms":
        return before * level, np.full(len(before), change.span)
    here, mildest, worst = factors
    added = level * here
    ohms = added + (before if change.action == "add_ohms" else np.zeros_like(before))
    span = change.span + math.log(worst / mildest) if change.span else 0.0
    return ohms, span * added / ohms
