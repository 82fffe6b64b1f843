"""How well each check tells each cause from each other, worked out from the solved circuits.

The measure between two causes is half of Jeffreys' divergence in decibans (Jeffreys 1946, Kullback
and Leibler 1951, from memory): the weight of evidence that the check is expected to give for the
true one of the two, averaged over which of them it is. 10 decibans are odds of ten to one.
"""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge, items
from engine.physics.circuit import Floats
from engine.physics.machine import Machine
from engine.physics.model import NOT_LISTED, Model
from engine.physics.prediction import (
    FALSE_OPEN,
    FLAT_SHARE,
    OPEN_SURE,
    Prediction,
    ReadingPrediction,
)

TOLD_APART_DB = 5.0  # judgement: odds of three to one on average from one check, "fair" evidence
DECIBANS_A_NAT = 10.0 / math.log(10.0)
TINY = 1e-12
CELL_STEPS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)  # standard uncertainties round each prediction


@dataclass(frozen=True, eq=False)
class Separation:
    """What the checks of one machine tell apart.

    ``decibans`` has the shape (check, cause, cause) and is the same both ways round.
    """

    machine: Machine
    model: Model
    checks: tuple[str, ...]
    kinds: tuple[str, ...]
    decibans: Floats = field(repr=False)

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the causes that the machine can have."""
        return self.model.causes

    def at(self, check: str, first: str, second: str) -> float:
        """Return the decibans of one check between two causes."""
        return float(self.decibans[self._check[check], self._cause[first], self._cause[second]])

    @cached_property
    def _check(self) -> Mapping[str, int]:
        return {name: place for place, name in enumerate(self.checks)}

    @cached_property
    def _cause(self) -> Mapping[str, int]:
        return {name: place for place, name in enumerate(self.causes)}

    def told_apart(self, causes: Sequence[str]) -> Mapping[str, set[tuple[str, str]]]:
        """Return which pairs of some causes each check tells apart."""
        pairs = list(itertools.combinations(causes, 2))
        places = np.array([(self._cause[one], self._cause[other]) for one, other in pairs])
        told = self.decibans[:, places[:, 0], places[:, 1]] >= TOLD_APART_DB
        return {
            check: set(itertools.compress(pairs, row))
            for check, row in zip(self.checks, told, strict=True)
        }

    def best(self, kinds: Sequence[str] | None = None) -> Floats:
        """Return the decibans of the best check of some kinds, shape (cause, cause)."""
        usual = items.USUAL_KINDS if kinds is None else kinds
        chosen = [n for n, kind in enumerate(self.kinds) if kind in usual]
        if not chosen:
            return np.zeros(self.decibans.shape[1:])
        return self.decibans[chosen].max(axis=0)

    def ranked(self, first: str, second: str) -> list[tuple[str, float]]:
        """Return every check with its decibans between two causes, the best first."""
        column = self.decibans[:, self._cause[first], self._cause[second]]
        found = [(name, float(value)) for name, value in zip(self.checks, column, strict=True)]
        return sorted(found, key=lambda one: (-round(one[1], 6), one[0]))

    def rivals(self, cause: str, kinds: Sequence[str] | None = None) -> list[tuple[str, float]]:
        """Return the other causes with the decibans of the best check, the most alike first.

        With ``kinds`` the order is by what checks of those kinds tell, and by all checks where
        those tell the same.
        """
        mine = self.causes.index(cause)
        best, some = self.best()[mine], self.best(kinds)[mine]
        places = [n for n, name in enumerate(self.causes) if name != cause]
        places.sort(key=lambda n: (round(some[n], 3), round(best[n], 6), self.causes[n]))
        return [(self.causes[n], float(best[n])) for n in places]

    def alike(
        self, kinds: Sequence[str] | None = None, below: float = TOLD_APART_DB
    ) -> list[tuple[str, str]]:
        """Return the pairs of causes that no check of some kinds tells apart, in order of id.

        No check is for a fault that is not in the list: what is left when the list does not fit.
        """
        best = self.best(kinds)
        return [
            (self.causes[a], self.causes[b])
            for a, b in itertools.combinations(range(len(self.causes)), 2)
            if best[a, b] < below and NOT_LISTED not in (self.causes[a], self.causes[b])
        ]


def machines(
    knowledge: Knowledge,
    system_volts: Iterable[int] = items.SYSTEM_VOLTS,
    coils: Iterable[str] = items.COILS,
) -> list[Machine]:
    """Return a machine for each circuit, coil style and voltage, in a fixed order."""
    return [
        Machine(circuit.duty, circuit.control, coil, volts)
        for circuit in knowledge.circuits.values()
        for coil in coils
        for volts in system_volts
    ]


def circuit_of(knowledge: Knowledge, machine: Machine) -> items.Circuit:
    """Return the circuit of a machine whose control type is known."""
    return knowledge.circuits_of(machine.duty, machine.control)[0]


def separate(diagnoser: Diagnoser, machine: Machine) -> Separation:
    """Return what the checks of a machine tell apart."""
    model = diagnoser.models.get(machine)
    context = diagnoser.advisers.context_bins(model)
    checks = diagnoser.knowledge.checks
    names = tuple(name for name in model.predictions if name in checks)
    weights: Floats = (model.membership * model.prior[:, None]).T
    weights = weights / weights.sum(axis=1, keepdims=True)
    rows = []
    for name in names:
        prediction = model.predictions[name]
        chances = weights @ context[name] if name in context else by_cause(prediction, weights)
        rows.append(_divergence(chances))
    kinds = tuple(checks[name].kind for name in names)
    return Separation(machine, model, names, kinds, np.stack(rows))


def by_cause(prediction: Prediction, weights: Floats) -> Floats:
    """Return the chance of each result under every cause: its cells under the hypotheses, with the
    weights that these have in a cause (cause, hypothesis).

    The bins that the adviser uses are even shares of what is likely on the whole: too coarse to
    see what a rare cause does to a check that most causes leave alone.
    """
    if not isinstance(prediction, ReadingPrediction):
        return weights @ prediction.bins
    few, back = _states(prediction)
    order = np.argsort(back, kind="stable")
    of_states = np.add.reduceat(
        weights[:, order], np.searchsorted(back[order], np.arange(len(few))), axis=1
    )
    return of_states @ _cells(prediction, few)


def _states(prediction: ReadingPrediction) -> tuple[Floats, NDArray[np.intp]]:
    """Return the different states of a reading, rows of (middle, sigma, open, flat), and which of
    them each hypothesis has."""
    sure = ~prediction.open & ~prediction.flat
    middle = np.where(sure, prediction.scale.of(prediction.mu), 0.0)
    states = np.stack([middle, prediction.default_sigma, prediction.open, prediction.flat], axis=1)
    few, back = np.unique(states.astype(float), axis=0, return_inverse=True)
    return few, back.reshape(-1)


def _cells(prediction: ReadingPrediction, few: Floats) -> Floats:
    """Return the cells of different states, fine enough for the width of each.

    The same mixture as ReadingPrediction.density, added up over each cell.
    """
    middle, sigma = few[:, 0], few[:, 1]
    is_open, is_flat = few[:, 2] > 0, few[:, 3] > 0
    sure = ~is_open & ~is_flat
    points = [middle[sure] + step * sigma[sure] for step in CELL_STEPS]
    edges = np.unique(np.round(np.concatenate(points), 3))
    low = float(prediction.scale.of(prediction.low))
    high = low + prediction.width  # a meter shows its limit for all that lies beyond it
    edges = np.concatenate([[-np.inf], edges[(edges > low) & (edges < high)], [np.inf]])
    level = np.diff(np.clip(edges, low, high)) / prediction.width
    bell = np.diff(ndtr((edges - middle[:, None]) / sigma[:, None]), axis=1)
    shares: Floats = (1 - FLAT_SHARE) * bell + FLAT_SHARE * level
    if prediction.unit == "ohm":
        shares = np.where(is_open[:, None], level, shares)
        over = np.where(is_open, OPEN_SURE, FALSE_OPEN)[:, None]
        shares = np.concatenate([shares * (1 - over), over], axis=1)
    return np.where(is_flat[:, None], 1.0 / shares.shape[1], shares)


def _divergence(shares: Floats) -> Floats:
    """Return half of Jeffreys' divergence between the rows, in decibans."""
    logs = np.log(np.maximum(shares, TINY))
    one_way = (shares * logs).sum(axis=1)[:, None] - shares @ logs.T
    return np.maximum(one_way + one_way.T, 0.0) * (DECIBANS_A_NAT / 2)


class Survey:
    """The separations of all machines of a base, each worked out once, when it is asked for."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self.diagnoser = diagnoser
        self.knowledge = diagnoser.knowledge
        self._kept: dict[Machine, Separation] = {}

    def of(self, machine: Machine) -> Separation:
        """Return the separation of one machine."""
        if machine not in self._kept:
            self._kept[machine] = separate(self.diagnoser, machine)
        return self._kept[machine]

    def all(self) -> list[Separation]:
        """Return the separations of every circuit, coil style and voltage."""
        return [self.of(one) for one in machines(self.knowledge)]


def machine_words(knowledge: Knowledge, found: Sequence[Machine]) -> str:
    """Return machines in words, by circuit: coil and voltage are said where not all are meant."""
    by_circuit: dict[str, list[Machine]] = {}
    for machine in found:
        by_circuit.setdefault(circuit_of(knowledge, machine).id, []).append(machine)
    return "; ".join(f"{name}{_only(same)}" for name, same in by_circuit.items())


def _only(same: Sequence[Machine]) -> str:
    parts: list[str] = []
    coils = {one.coil for one in same}
    volts = {one.system_volts for one in same}
    if len(coils) == 1:
        parts += coils
    if len(volts) == 1:
        parts.append(f"{volts.pop()} V")
    return f" ({', '.join(parts)})" if parts else ""
