"""Everything that happened to all cases, in one order: for programs that ask instead of being told.

It is the log of steps, whose order nobody changes.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.cases import numbers
from api.cases.events.outbox import EVENTS
from api.cases.wording import words
from api.store.models import CaseRow, StepRow
from api.strict_json import Json
from engine import Knowledge
from engine.answer.documents import Document

_TURN = 7377  # names the lock; the store has no other of its kind


@dataclass(frozen=True)
class FeedEvent:
    """Something that happened to a case."""

    id: int
    type: str
    timestamp: datetime
    number: str
    version: int
    by: str
    words: str
    changed: Json


@dataclass(frozen=True)
class EventPage(Document):
    """What happened, oldest first; ask again with 'next_after' for what comes behind it."""

    events: tuple[FeedEvent, ...]
    next_after: int


def wait_in_line(session: Session) -> None:
    """Wait until no other transaction has a step to commit: so none is overtaken, and missed.

    PostgreSQL gives out numbers before a transaction ends; SQLite has one writer at a time.
    """
    if session.get_bind().dialect.name == "postgresql":
        session.execute(select(func.pg_advisory_xact_lock(_TURN)))


def page(session: Session, knowledge: Knowledge, after: int, limit: int) -> EventPage:
    """Return the events behind ``after``, oldest first."""
    query = select(StepRow, CaseRow.number).join(CaseRow, CaseRow.order == StepRow.case_order)
    query = query.where(StepRow.id > after).order_by(StepRow.id).limit(limit)
    found = []
    for step, number in session.execute(query):
        said = words(step.kind, step.by, step.body, knowledge)
        found.append(
            FeedEvent(step.id, EVENTS[step.kind], step.at, numbers.show(number), step.version,
                      step.by, said, step.body)
        )  # fmt: skip
    return EventPage(tuple(found), found[-1].id if found else after)
