"""Everything that happened to all cases, in one order: for programs that ask instead of being told.

It is the log of steps, which nobody changes. PostgreSQL gives out the numbers before a transaction
ends, so there a step is told when nothing before it can come any more.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.answers.documents import Document
from api.cases import numbers
from api.cases.events.outbox import EVENTS
from api.cases.wording import words
from api.store.models import CaseRow, StepRow
from api.strict_json import Json
from engine import Knowledge

SETTLED = timedelta(seconds=10)  # longer than a step takes to be written


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


def page(
    session: Session, knowledge: Knowledge, after: int, limit: int, at_once: bool
) -> EventPage:
    """Return the events behind ``after``; where not ``at_once``, those that are settled."""
    query = select(StepRow, CaseRow.number).join(CaseRow, CaseRow.order == StepRow.case_order)
    query = query.where(StepRow.id > after).order_by(StepRow.id).limit(limit)
    found = []
    for step, number in session.execute(query):
        if not at_once and step.at > datetime.now(UTC) - SETTLED:
            break
        said = words(step.kind, step.by, step.body, knowledge)
        found.append(
            FeedEvent(step.id, EVENTS[step.kind], step.at, numbers.show(number), step.version,
                      step.by, said, step.body)
        )  # fmt: skip
    return EventPage(tuple(found), found[-1].id if found else after)
