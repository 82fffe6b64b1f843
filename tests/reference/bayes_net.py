"""The single-fault network for pyAgrum, a library of exact inference (pip package pyagrum).

Cause -> State -> one child a finding. An outcome check is a child with all its outcomes; a reading
is a child with two labels, *this reading* and *any other*, which carry its likelihood up to a
factor. What shifts a cause's odds enters as soft evidence on the cause.
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from engine.physics.circuit import Floats
from engine.physics.model import Model

with warnings.catch_warnings():
    # Its SWIG types warn while they are made; as an error that ends the whole process.
    warnings.simplefilter("ignore", DeprecationWarning)
    import pyagrum


@dataclass(frozen=True)
class Child:
    """One finding's node: the chance of each label under each hypothesis, and the label seen."""

    table: Floats
    seen: int


def of_likelihood(likelihood: Floats) -> Child:
    """Return a child that carries a likelihood, which need not be a probability."""
    share = likelihood / likelihood.max()
    return Child(np.column_stack([share, 1.0 - share]), 0)


def _variable(name: str, size: int) -> Any:
    return pyagrum.RangeVariable(name, name, 0, size - 1)


class Network:
    """A model's network with its findings; asks pyAgrum for exact posteriors of the causes."""

    def __init__(self, model: Model, children: Sequence[Child]) -> None:
        self._children = children
        self._net = net = pyagrum.BayesNet("single fault")
        by_cause = model.prior @ model.membership
        net.add(_variable("cause", len(model.causes)))
        net.add(_variable("state", len(model.hypotheses)))
        net.addArc("cause", "state")
        net.cpt("cause")[:] = by_cause
        states = model.prior[:, None] * model.membership / by_cause
        net.cpt("state")[:] = np.ascontiguousarray(states.T)
        for number, child in enumerate(children):
            net.add(_variable(f"finding{number}", child.table.shape[1]))
            net.addArc("state", f"finding{number}")
            net.cpt(f"finding{number}")[:] = child.table

    def causes(self, factors: Floats | None = None, without: int | None = None) -> Floats:
        """Return the posterior of the causes, given all findings or all but one.

        ``factors`` multiply the odds of each cause; 0 takes it away.
        """
        evidence: dict[str, Any] = {
            f"finding{number}": child.seen
            for number, child in enumerate(self._children)
            if number != without
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
