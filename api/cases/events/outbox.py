"""The durable queue's near end: an event is written with the change that it tells of.

Both are in one transaction, so an event is never lost and never tells of what did not happen.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import strict_json
from api.cases.case import Case
from api.store.models import Delivery, Endpoint
from api.strict_json import Json
from engine.answer.documents import Document

# kind of step -> kind of event, which an endpoint may ask for
EVENTS: Mapping[str, str] = {
    "opened": "case.opened", "finding-added": "finding.added",
    "finding-withdrawn": "finding.withdrawn", "changed": "case.changed", "closed": "case.closed",
    "reopened": "case.reopened",
}  # fmt: skip
KINDS = tuple(EVENTS.values())


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


def enqueue(session: Session, kind: str, data: EventData, at: datetime) -> None:
    """Add one delivery for each endpoint in use that asks for this kind of event.

    Nothing is sent here. ``at`` is when it happened, with its zone; ``kind`` one of ``KINDS``.
    """
    endpoints = list(_asking(session, kind))
    if not endpoints:
        return
    event = Event(kind, at.astimezone(UTC), data).to_dict()
    message, payload = f"msg_{uuid4().hex}", strict_json.dumps(event).rstrip("\n")
    for endpoint in endpoints:
        session.add(
            Delivery(
                message=message,
                endpoint_id=endpoint.id,
                kind=kind,
                payload=payload,
                state="waiting",
                made_at=at,
                next_at=at,
            )
        )


def _asking(session: Session, kind: str) -> Iterator[Endpoint]:
    in_use = select(Endpoint).where(Endpoint.disabled_at.is_(None)).order_by(Endpoint.made_at)
    return (endpoint for endpoint in session.scalars(in_use) if kind in endpoint.events)
