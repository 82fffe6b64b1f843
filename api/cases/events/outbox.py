"""Events told and asked for.

An event is written into the durable queue with the change that it tells of, in one transaction: so
it is never lost and never tells of what did not happen. Programs that would rather ask read the
log of steps, whose order nobody changes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import uuid4

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api import strict_json
from api.cases import numbers
from api.cases.case import Case
from api.cases.wording import words
from api.store.models import CaseRow, Delivery, Endpoint, StepRow, table_of
from api.strict_json import Json
from engine import Knowledge
from engine.answer.documents import Document

# kind of step -> kind of event, which an endpoint may ask for
EVENTS: Mapping[str, str] = {
    "opened": "case.opened", "finding-added": "finding.added",
    "finding-withdrawn": "finding.withdrawn", "changed": "case.changed", "closed": "case.closed",
    "reopened": "case.reopened",
}  # fmt: skip
KINDS = tuple(EVENTS.values())
_TURN = 7377  # names the lock; the store has no other of its kind
_ENDPOINTS = table_of(Endpoint).c
_IN_USE = (
    select(_ENDPOINTS.id, _ENDPOINTS.events).where(_ENDPOINTS.disabled_at.is_(None))
    .order_by(_ENDPOINTS.made_at)
)  # fmt: skip


@dataclass(frozen=True)
class EventData(Document):
    """The case after the step, who did it, and what it changed, as the case's steps have it."""

    case: Case
    by: str
    changed: Json


@dataclass(frozen=True)
class Event(Document):
    """What is sent to an endpoint when something happens to a case."""

    type: str
    timestamp: datetime
    data: EventData


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


def enqueue(session: Session, kind: str, data: EventData, at: datetime) -> None:
    """Add one delivery for each endpoint in use that asks for this kind of event.

    Nothing is sent here. ``at`` is when it happened, with its zone; ``kind`` one of ``KINDS``.
    """
    asking = [name for name, kinds in session.connection().execute(_IN_USE) if kind in kinds]
    if not asking:
        return
    event = Event(kind, at.astimezone(UTC), data).to_dict()
    message, payload = f"msg_{uuid4().hex}", strict_json.dumps(event).rstrip("\n")
    session.add_all(
        Delivery(message=message, endpoint_id=one, kind=kind, payload=payload, state="waiting",
                 made_at=at, next_at=at)
        for one in asking
    )  # fmt: skip


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
    found = tuple(
        FeedEvent(step.id, EVENTS[step.kind], step.at, numbers.show(number), step.version, step.by,
                  words(step.kind, step.by, step.body, knowledge), step.body)
        for step, number in session.execute(query)
    )  # fmt: skip
    return EventPage(found, found[-1].id if found else after)
