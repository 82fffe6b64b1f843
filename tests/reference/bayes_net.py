"""The single-fault network for pyAgrum, a library of exact inference (pip package pyagrum).

Cause -> State -> one child a finding. A fault may be there always or at times (State -> Times):
then each finding may have been made while it was away (State, Times -> Away), on the good circuit.
An outcome check is a child with all its outcomes; a reading
is a child with two labels, *this reading* and *any other*, which carry its likelihood up to a
factor. What shifts a cause's odds enters as soft evidence on the cause.
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.physics.circuit import Floats
from engine.physics.model import Model

with warnings.catch_warnings():
    # Its SWIG types warn while they are made; as an error that ends the whole process.
    warnings.simplefilter("ignore", DeprecationWarning)
    import pyagrum


@dataclass(frozen=True)
class Child:
    """One finding's node: the chance of each label under each hypothesis, and the label seen.

    ``away`` is how often a fault that comes and goes is away then; ``power`` how much it counts.
    """

    table: Floats
    seen: int
    away: Floats
    power: float = 1.0


@dataclass(frozen=True)
class Times:
    """How often each hypothesis is of a fault that comes and goes, and its good circuit."""

    share: Floats
    good: NDArray[np.intp]


def of_likelihood(likelihood: Floats) -> Floats:
    """Return the table of a node that carries a likelihood, which need not be a probability."""
    share = likelihood / likelihood.max()
    return np.column_stack([share, 1.0 - share])


def _variable(name: str, size: int) -> Any:
    return pyagrum.RangeVariable(name, name, 0, size - 1)


class Network:
    """A model's network with its findings; asks pyAgrum for exact posteriors of the causes."""

    def __init__(self, model: Model, children: Sequence[Child], times: Times) -> None:
        self._seen = [one.seen for one in children]
        self._net = net = pyagrum.BayesNet("single fault")
        by_cause = model.prior @ model.membership
        net.add(_variable("cause", len(model.causes)))
        net.add(_variable("state", len(model.hypotheses)))
        net.addArc("cause", "state")
        net.cpt("cause")[:] = by_cause
        states = model.prior[:, None] * model.membership / by_cause
        net.cpt("state")[:] = np.ascontiguousarray(states.T)
        net.add(_variable("times", 2))
        net.addArc("state", "times")
        net.cpt("times")[:] = np.column_stack([1.0 - times.share, times.share])
        for number, child in enumerate(children):
            if child.power == 1.0:
                self._whole(number, child, times)
            else:
                self._in_part(number, child, times)

    def _whole(self, number: int, child: Child, times: Times) -> None:
        """Add a finding made while the fault is there, or away and so on the good circuit."""
        net, away, found = self._net, f"away{number}", f"finding{number}"
        net.add(_variable(away, 2))
        net.add(_variable(found, child.table.shape[1]))
        for parent, its in (("state", away), ("times", away), ("state", found), (away, found)):
            net.addArc(parent, its)
        away_then = np.column_stack([1.0 - child.away, child.away])
        # a table's first axis is its last parent
        net.cpt(away)[:] = np.stack([np.broadcast_to([1.0, 0.0], away_then.shape), away_then])
        net.cpt(found)[:] = np.stack([child.table, child.table[times.good]])

    def _in_part(self, number: int, child: Child, times: Times) -> None:
        """Add a finding that counts in part, its likelihood raised to that power."""
        net, found = self._net, f"finding{number}"
        here = child.table[:, child.seen]
        passing = (1.0 - child.away) * here + child.away * here[times.good]
        tables = of_likelihood(np.concatenate([here, passing]) ** child.power)
        self._seen[number] = 0
        net.add(_variable(found, 2))
        net.addArc("state", found)
        net.addArc("times", found)
        net.cpt(found)[:] = tables.reshape(2, len(here), 2)

    def causes(self, factors: Floats | None = None, without: int | None = None) -> Floats:
        """Return the posterior of the causes, given all findings or all but one.

        ``factors`` multiply the odds of each cause; 0 takes it away.
        """
        evidence: dict[str, Any] = {
            f"finding{number}": seen for number, seen in enumerate(self._seen) if number != without
        }
        if factors is not None:
            evidence["cause"] = (factors / factors.max()).tolist()
        engine = pyagrum.LazyPropagation(self._net)
        engine.setEvidence(evidence)
        engine.makeInference()
        posterior: Floats = engine.posterior("cause").toarray()
        return posterior


def decibans(all_of_it: Floats, without: Floats) -> Floats:
    """Return 10 log10 of the odds of each cause with a finding over those without it."""
    odds = [one / (one.sum() - one) for one in (all_of_it, without)]
    weights: Floats = 10.0 * np.log10(odds[0] / odds[1])
    return weights


def factors_of(causes: Sequence[str], shifts: Mapping[str, float]) -> Floats:
    """Return the factor of each cause, 1 for those not named."""
    return np.array([shifts.get(name, 1.0) for name in causes])
