"""Learned shares: what closed cases were shifts how often each cause is expected.

Each worker looks at the counts of confirmed causes now and then, and asks an engine with the shares
that follow from them (engine.reasoning.learning). The same counts give the same shares and the same
``knowledge_version`` in every worker; a worker may lag behind by ``SECONDS``.
"""

import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any

from sqlalchemy import func, select

from api.cases.case import CLOSED
from api.cases.edits import NOT_A_CAUSE
from api.store import Database, StoreUnavailableError
from api.store.models import CaseRow
from engine import Diagnoser, Knowledge, RequestError, updated_shares, with_learning
from engine.reasoning.learning import PRIOR_CASES

SECONDS = 60.0  # between two looks at the closed cases
Counts = tuple[tuple[str, str, int], ...]  # circuit, cause, closed cases
_log = logging.getLogger("threewire.cases")


def counts_of(database: Database) -> Counts:
    """Return how many closed cases each circuit and confirmed cause has, in a fixed order."""
    query = (
        select(CaseRow.circuit, CaseRow.confirmed, func.count())
        .where(CaseRow.state == CLOSED)
        .group_by(CaseRow.circuit, CaseRow.confirmed)
        .order_by(CaseRow.circuit, CaseRow.confirmed)
    )
    with database.reading() as session:
        rows = [(circuit, cause, int(count)) for circuit, cause, count in session.execute(query)]
    return tuple(sorted(rows))


def sorted_out(
    knowledge: Knowledge, counts: Counts
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the outcomes that can be learned from, and the others with the reason."""
    good, others = [], []
    for circuit, cause, count in counts:
        outcome: dict[str, Any] = {"circuit": circuit or None, "cause": cause, "count": count}
        because = _why_not(knowledge, outcome)
        if because is None:
            good.append(outcome)
        else:
            others.append({**outcome, "because": because})
    return good, others


def _why_not(knowledge: Knowledge, outcome: Mapping[str, Any]) -> str | None:
    if outcome["cause"] in NOT_A_CAUSE:
        return NOT_A_CAUSE[outcome["cause"]]
    if outcome["circuit"] is None:
        return "the control was never settled"
    try:
        updated_shares(knowledge, [outcome])
    except RequestError as error:
        return "; ".join(fault.message for fault in error.faults)
    return None


@dataclass(frozen=True)
class _Learned:
    counts: Counts
    diagnoser: Diagnoser


class LearningDiagnoser(Diagnoser):
    """Diagnoses with the shares that the installation's closed cases have taught.

    What it is asked beside ``diagnose`` it answers from the shipped shares.
    """

    def __init__(
        self, base: Diagnoser, database: Database, *, seconds: float = SECONDS,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        super().__init__(base.knowledge, base.models)
        self._base = base
        self._database = database
        self._seconds = seconds
        self._clock = clock
        self._looking = Lock()
        self._next_look = -1.0
        self._learned = _Learned((), base)

    def diagnose(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the diagnosis of a request with the shares learned so far."""
        return self.present().diagnose(request)

    def present(self) -> Diagnoser:
        """Return the engine with the shares learned so far; looks anew when it is time."""
        if self._clock() >= self._next_look and self._looking.acquire(blocking=False):
            try:  # one thread looks, the others go on with what there is
                self._look()
            finally:
                self._looking.release()
        return self._learned.diagnoser

    def _look(self) -> None:
        self._next_look = self._clock() + self._seconds
        try:
            counts = counts_of(self._database)
        except StoreUnavailableError:
            _log.warning("closed cases cannot be counted; the learned shares stay as they are")
            return
        if counts != self._learned.counts:
            outcomes, _ = sorted_out(self._base.knowledge, counts)
            knowledge = with_learning(self._base.knowledge, outcomes)
            same = knowledge.version == self._learned.diagnoser.knowledge.version
            diagnoser = self._learned.diagnoser if same else self._built(knowledge)
            self._learned = _Learned(counts, diagnoser)

    def _built(self, knowledge: Knowledge) -> Diagnoser:
        shipped = knowledge.version == self._base.knowledge.version
        return self._base if shipped else self._learned.diagnoser.with_shares_of(knowledge)


def report(database: Database, knowledge: Knowledge, on: bool) -> dict[str, Any]:
    """Return what was learned: outcomes by circuit and cause, shares as shipped and as learned."""
    good, others = sorted_out(knowledge, counts_of(database))
    shares = updated_shares(knowledge, good)
    return {
        "on": on,
        "knowledge_version": with_learning(knowledge, good).version if on else knowledge.version,
        "prior_cases": PRIOR_CASES,
        "closed_cases": sum(one["count"] for one in [*good, *others]),
        "learned_from": sum(one["count"] for one in good),
        "outcomes": good,
        "not_counted": others,
        "shares": [
            {
                "circuit": circuit,
                "cause": cause,
                "shipped": round(knowledge.share(circuit, cause), 6),
                "learned": round(share, 6),
            }
            for circuit, found in sorted(shares.items())
            for cause, share in found.items()
        ],
    }
