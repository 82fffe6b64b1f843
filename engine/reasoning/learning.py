"""Learning from closed cases: shares of causes, Bayesian, with the shipped shares as the prior.

The shipped shares count like PRIOR_CASES closed cases of each circuit. A confirmed cause adds one
to its own; the posterior mean of the Dirichlet distribution is the new share (textbook conjugate
update). No share falls below a floor: what was never seen can still happen.
"""

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from engine.knowledge import Fault, Knowledge, RequestError, items
from engine.knowledge.faults import unknown
from engine.knowledge.items import applies

PRIOR_CASES = 200.0  # judgement: a shop's first fifty cases should nudge, not overturn
FLOOR = 0.2  # share points, on the scale of kb/causes (judgement)


def updated_shares(
    knowledge: Knowledge, outcomes: Iterable[Mapping[str, Any]], prior_cases: float = PRIOR_CASES
) -> dict[str, dict[str, float]]:
    """Return shares by circuit and cause from confirmed outcomes.

    Each outcome has ``circuit`` (id), ``cause`` (id) and ``count`` (a whole number, 1 when left
    out). The shares of a circuit keep their sum. Raises RequestError naming every bad outcome.
    """
    counts = _counts(knowledge, list(outcomes))
    learned = {}
    for name, circuit in knowledge.circuits.items():
        if name not in counts:
            continue
        base = {
            cause.id: knowledge.share(name, cause.id)
            for cause in knowledge.causes.values()
            if applies(cause.applies, circuit=circuit)
        }
        total = sum(base.values())
        seen = counts[name]
        cases = sum(seen.values())
        raw = {
            cause: total
            * (prior_cases * share / total + seen.get(cause, 0))
            / (prior_cases + cases)
            for cause, share in base.items()
        }
        learned[name] = {cause: max(share, FLOOR) for cause, share in raw.items()}
    return learned


def _counts(knowledge: Knowledge, outcomes: list[Mapping[str, Any]]) -> dict[str, dict[str, int]]:
    """Add the outcomes up; raises RequestError for ids, counts or pairs that cannot be."""
    faults: list[Fault] = []
    counts: dict[str, dict[str, int]] = {}
    for place, outcome in enumerate(outcomes):
        path = f"outcomes[{place}]"
        circuit, cause = outcome.get("circuit"), outcome.get("cause")
        count = outcome.get("count", 1)
        before = len(faults)
        if circuit not in knowledge.circuits:
            faults.append(Fault(f"{path}.circuit", unknown("circuit", circuit, knowledge.circuits)))
        if cause not in knowledge.causes:
            faults.append(Fault(f"{path}.cause", unknown("cause", cause, knowledge.causes)))
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= 10**6:
            faults.append(Fault(f"{path}.count", "must be a whole number from 0 to 1000000"))
        if len(faults) > before:
            continue
        if not _possible(knowledge, str(circuit), str(cause)):
            faults.append(Fault(f"{path}.cause", f"'{cause}' cannot be on {circuit}"))
            continue
        here = counts.setdefault(str(circuit), {})
        here[str(cause)] = here.get(str(cause), 0) + count
    if faults:
        raise RequestError(faults)
    return counts


def _possible(knowledge: Knowledge, circuit: str, cause: str) -> bool:
    found: items.Cause = knowledge.causes[cause]
    return applies(found.applies, circuit=knowledge.circuits[circuit])


def with_learning(
    knowledge: Knowledge, outcomes: Iterable[Mapping[str, Any]], prior_cases: float = PRIOR_CASES
) -> Knowledge:
    """Return the knowledge with shares learned from outcomes; its version says so."""
    learned = updated_shares(knowledge, outcomes, prior_cases)
    if not learned:
        return knowledge
    text = json.dumps(learned, sort_keys=True)
    digest = hashlib.sha256(text.encode()).hexdigest()[:8]
    return dataclasses.replace(
        knowledge, learned=learned, version=f"{knowledge.version}+learned-{digest}"
    )
