"""Learned shares: what closed cases were shifts how often each cause is expected.

Each worker looks at the counts of confirmed causes now and then, and asks an engine with the shares
that follow from them (engine.reasoning.learning). The same counts give the same shares and the same
``knowledge_version`` in every worker; a worker may lag behind by ``SECONDS``.
"""

import logging
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any, TypeVar

from sqlalchemy import func, select

from api.cases.case import CLOSED
from api.cases.edits import NOT_A_CAUSE
from api.store import Database, StoreUnavailableError
from api.store.models import CaseRow
from engine import Diagnoser, Knowledge, RequestError, updated_shares, with_learning
from engine.answer.documents import Document, plain
from engine.reasoning.learning import PRIOR_CASES

SECONDS = 60.0  # between two looks at the closed cases
PER_DAY = 20  # closings of one key and day that count (judgement: more than one desk has)
YES, NO, IMPORTED = "yes", "no", "imported"  # an administrator's word on a case; none is ""
_Key = TypeVar("_Key")
_log = logging.getLogger("threewire.cases")


@dataclass(frozen=True, order=True)
class Closings:
    """Closed cases that are alike in all that learning goes by."""

    circuit: str
    cause: str
    key: str
    day: str
    word: str
    borne_out: bool
    count: int


@dataclass(frozen=True)
class Counted(Document):
    """Closed cases with one outcome."""

    circuit: str | None
    cause: str
    count: int


@dataclass(frozen=True)
class NotCounted(Counted):
    """Closed cases that nothing is learned from."""

    because: str


@dataclass(frozen=True)
class KeyShare(Document):
    """What one key has brought: cases that were closed with it, and those of them that count."""

    key: str
    closed_cases: int
    learned_from: int


@dataclass(frozen=True)
class Share(Document):
    """How often a cause is expected on a circuit, among all that it can have."""

    circuit: str
    cause: str
    shipped: float
    learned: float


@dataclass(frozen=True)
class Learning(Document):
    """What closed cases have taught this installation."""

    on: bool
    knowledge_version: str
    prior_cases: float
    closed_cases: int
    learned_from: int
    outcomes: tuple[Counted, ...]
    not_counted: tuple[NotCounted, ...]
    keys: tuple[KeyShare, ...]
    shares: tuple[Share, ...]


def counts_of(database: Database) -> tuple[Closings, ...]:
    """Return the closed cases by what learning goes by, in a fixed order."""
    columns = (CaseRow.circuit, CaseRow.confirmed, CaseRow.closed_key, CaseRow.closed_on,
               CaseRow.learn, CaseRow.borne_out)  # fmt: skip
    query = select(*columns, func.count()).where(CaseRow.state == CLOSED).group_by(*columns)
    with database.reading() as session:
        return tuple(sorted(Closings(*row) for row in session.execute(query)))


def sorted_out(
    knowledge: Knowledge, closings: Iterable[Closings]
) -> tuple[Counter[Closings], Counter[tuple[Closings, str]]]:
    """Return how many of the closings can be learned from, and the others with the reason."""
    good: Counter[Closings] = Counter()
    others: Counter[tuple[Closings, str]] = Counter()
    left: dict[tuple[str, str], int] = {}
    for one in closings:
        because = _why_not(knowledge, one)
        if because is not None:
            others[one, because] += one.count
            continue
        there = one.count if one.word == YES else left.setdefault((one.key, one.day), PER_DAY)
        taken = min(one.count, there)
        if one.word != YES:
            left[one.key, one.day] -= taken
        good[one] += taken
        others[one, f"one key closed more than {PER_DAY} on that day"] += one.count - taken
    return +good, +others


def _why_not(knowledge: Knowledge, one: Closings) -> str | None:
    if one.cause in NOT_A_CAUSE:
        return NOT_A_CAUSE[one.cause]
    if not one.circuit:
        return "the control was never settled"
    if one.word in _WORDS:
        return _WORDS[one.word]
    try:
        updated_shares(knowledge, plain([Counted(one.circuit, one.cause, one.count)]))
    except RequestError as error:
        return "; ".join(fault.message for fault in error.faults)
    return None if one.borne_out or one.word == YES else "what was found does not bear it out"


_WORDS = {NO: "an administrator left it out", IMPORTED: "it was imported, and nobody reviewed it"}


def _outcomes(good: Counter[Closings]) -> tuple[Counted, ...]:
    found = _added_up(((one.circuit, one.cause), count) for one, count in good.items())
    return tuple(Counted(*pair, count) for pair, count in sorted(found.items()))


class LearningDiagnoser(Diagnoser):
    """Diagnoses with the shares that the installation's closed cases have taught.

    What it is asked beside ``diagnose`` it answers from the shipped shares.
    """

    def __init__(
        self, base: Diagnoser, database: Database, *, seconds: float = SECONDS,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        super().__init__(base.knowledge, base.models, base.rule_sets)
        self.shipped = base  # with the shares as shipped
        self._database = database
        self._seconds = seconds
        self._clock = clock
        self._looking = Lock()
        self._next_look = -1.0
        self._learned: tuple[tuple[Closings, ...], Diagnoser] = ((), base)

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
        return self._learned[1]

    def _look(self) -> None:
        self._next_look = self._clock() + self._seconds
        try:
            counts = counts_of(self._database)
        except StoreUnavailableError:
            _log.warning("closed cases cannot be counted; the learned shares stay as they are")
            return
        before, engine = self._learned
        if counts == before:
            return
        good, _ = sorted_out(self.shipped.knowledge, counts)
        knowledge = with_learning(self.shipped.knowledge, plain(_outcomes(good)))
        if knowledge.version == self.shipped.knowledge.version:
            engine = self.shipped
        elif knowledge.version != engine.knowledge.version:
            engine = engine.with_shares_of(knowledge)
        self._learned = counts, engine


def report(database: Database, knowledge: Knowledge, on: bool) -> Learning:
    """Return what was learned: outcomes by circuit and cause, shares as shipped and as learned."""
    closings = counts_of(database)
    good, others = sorted_out(knowledge, closings)
    outcomes = _outcomes(good)
    learned = with_learning(knowledge, plain(outcomes)) if on else knowledge
    shares = tuple(
        Share(circuit, cause, round(knowledge.share(circuit, cause), 6), round(share, 6))
        for circuit, found in sorted(updated_shares(knowledge, plain(outcomes)).items())
        for cause, share in found.items()
    )
    left = _added_up(((one.circuit, one.cause, why), count) for (one, why), count in others.items())
    closed = _added_up((one.key, one.count) for one in closings)
    taught = _added_up((one.key, count) for one, count in good.items())
    return Learning(
        on, learned.version, PRIOR_CASES, closed.total(), good.total(), outcomes,
        tuple(NotCounted(one[0] or None, one[1], left[one], one[2]) for one in sorted(left)),
        tuple(KeyShare(key, closed[key], taught[key]) for key in sorted(closed)), shares,
    )  # fmt: skip


def _added_up(counts: Iterable[tuple[_Key, int]]) -> Counter[_Key]:
    found: Counter[_Key] = Counter()
    for key, count in counts:
        found[key] += count
    return found
