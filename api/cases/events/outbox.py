"""The durable queue's near end: an event is written with the change that it tells of.

Both are in one transaction, so an event is never lost and never tells of what did not happen.
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import strict_json
from api.store.models import Delivery, Endpoint

# what an endpoint may ask for
KINDS = ("finding.added", "case.closed")


def enqueue(session: Session, kind: str, data: Mapping[str, Any], at: datetime) -> None:
    """Add one delivery for each endpoint in use that asks for this kind of event.

    Nothing is sent here. ``at`` is when it happened, with its zone. Raises ValueError for a kind
    that is not in ``KINDS`` and for data that is not JSON.
    """
    if kind not in KINDS:
        raise ValueError(f"unknown kind of event '{kind}'")
    endpoints = list(_asking(session, kind))
    if not endpoints:
        return
    message, payload = f"msg_{uuid4().hex}", _payload(kind, data, at)
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


def _payload(kind: str, data: Mapping[str, Any], at: datetime) -> str:
    """Return the exact text that is signed and sent."""
    moment = at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    return strict_json.dumps({"type": kind, "timestamp": moment, "data": dict(data)}).rstrip("\n")
