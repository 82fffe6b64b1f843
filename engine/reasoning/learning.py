"""Learning from closed cases: shares of causes, Bayesian, with the shipped shares as the prior.

The shipped shares count like PRIOR_CASES closed cases of each circuit. A confirmed cause adds one
to its own; the posterior mean of the Dirichlet distribution is the new share (textbook conjugate
update). No share falls below a floor: what was never seen can still happen.
"""

import dataclasses
import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from engine.knowledge import Fault, Knowledge, RequestError
from engine.knowledge.faults import unknown
from engine.knowledge.items import applies

PRIOR_CASES = 200.0  # judgement: a shop's first fifty cases should nudge, not overturn
FLOOR = 0.2  # share points, on the scale of kb/causes (judgement)


def updated_shares(
    knowledge: Knowledge, outcomes: Iterable[Mapping[str, Any]]
) -> dict[str, dict[str, float]]:
    """Return shares by circuit and cause from confirmed outcomes.

    Each outcome has ``circuit`` (id), ``cause`` (id) and ``count`` (a whole number, 1 when left
    out). The shares of a circuit keep their sum. Raises RequestError naming every bad outcome.
    """
    counts = _counts(knowledge, outcomes)
    learned = {}
    for name, circuit in knowledge.circuits.items():
        if name not in counts:
            continue
        seen = counts[name]
        base = {
            cause.id: knowledge.share(name, cause.id)
            for cause in knowledge.causes.values()
            if applies(cause.applies, circuit=circuit)
        }
        total, cases = sum(base.values()), PRIOR_CASES + seen.total()
        learned[name] = {
            cause: max(total * (PRIOR_CASES * share / total + seen[cause]) / cases, FLOOR)
            for cause, share in base.items()
        }
    return learned


def _counts(knowledge: Knowledge, outcomes: Iterable[Mapping[str, Any]]) -> dict[str, Counter[str]]:
    """Add the outcomes up; raises RequestError for ids, counts or pairs that cannot be."""
    faults: list[Fault] = []
    counts: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for place, outcome in enumerate(outcomes):
        path, count = f"outcomes[{place}]", outcome.get("count", 1)
        circuit = knowledge.circuits.get(str(outcome.get("circuit")))
        cause = knowledge.causes.get(str(outcome.get("cause")))
        if circuit is None:
            message = unknown("circuit", outcome.get("circuit"), knowledge.circuits)
            faults.append(Fault(f"{path}.circuit", message))
        if cause is None:
            message = unknown("cause", outcome.get("cause"), knowledge.causes)
            faults.append(Fault(f"{path}.cause", message))
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= 10**6:
            faults.append(Fault(f"{path}.count", "must be a whole number from 0 to 1000000"))
        elif circuit and cause and not applies(cause.applies, circuit=circuit):
            faults.append(Fault(f"{path}.cause", f"'{cause.id}' cannot be on {circuit.id}"))
        elif circuit and cause:
            counts[circuit.id][cause.id] += count
    if faults:
        raise RequestError(faults)
    return counts


def with_learning(knowledge: Knowledge, outcomes: Iterable[Mapping[str, Any]]) -> Knowledge:
    """Return the knowledge with shares learned from outcomes; its version says so."""
    learned = updated_shares(knowledge, outcomes)
    if not learned:
        return knowledge
    text = json.dumps(learned, sort_keys=True)
    version = f"{knowledge.version}+learned-{hashlib.sha256(text.encode()).hexdigest()[:8]}"
    return dataclasses.replace(knowledge, learned=learned, version=version)
