"""The durable queue's far end: which delivery is due, who has it, and how it ended.

A sender takes a delivery by moving its ``next_at`` on by ``LEASE``: no other takes it meanwhile,
and if the sender dies it is due again afterwards, under the same message id.
"""

import random
from collections.abc import Collection
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_, delete, select, update
from sqlalchemy.orm import Session

from api.store import Database
from api.store.models import Delivery, Endpoint

LEASE = timedelta(seconds=90)  # longer than an attempt can take
# Seconds from each attempt to the next: the example schedule of the Standard Webhooks
# specification, 76 hours in all. The first attempt is made at once.
WAITS = (5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400)
ATTEMPTS = len(WAITS) + 1
_JITTER = 0.2  # share by which a wait is shortened or lengthened, so that failures spread out
KEEP = {"delivered": timedelta(days=30), "given-up": timedelta(days=90)}
_PRUNED_AT_ONCE = 500


Taken = tuple[Delivery, Endpoint]  # as they were when a sender took them, until its lease ends


def take(database: Database, now: datetime, busy: Collection[str] = ()) -> Taken | None:
    """Take the delivery that has been due longest, or return None.

    Deliveries to the endpoints in ``busy`` are left. Asks without a lock first: mostly nothing is
    due, and a writer less is a writer that waits less.
    """
    with database.reading() as session:
        if session.scalar(select(Delivery.id).where(_due(now, busy)).limit(1)) is None:
            return None
    return database.write(lambda session: _take(session, now, busy))


def _due(now: datetime, busy: Collection[str]) -> ColumnElement[bool]:
    due = and_(Delivery.state == "waiting", Delivery.next_at <= now)
    return and_(due, Delivery.endpoint_id.not_in(busy)) if busy else due


def _take(session: Session, now: datetime, busy: Collection[str]) -> Taken | None:
    query = (
        select(Delivery).where(_due(now, busy)).order_by(Delivery.next_at, Delivery.id).limit(1)
        .with_for_update(skip_locked=True)
    )  # fmt: skip
    row = session.scalars(query).one_or_none()
    if row is None:
        return None
    endpoint = session.get_one(Endpoint, row.endpoint_id)
    row.attempts += 1  # counted when it starts: one that brings the sender down is not free
    row.next_at = now + LEASE
    if endpoint.disabled_at is not None:
        row.state, row.last_result = "given-up", "the endpoint is disabled"
        session.flush()
        return _take(session, now, busy)
    return row, endpoint


def delivered(database: Database, taken: Delivery, words: str) -> None:
    """Mark a delivery as done."""
    done = update(Delivery).where(Delivery.id == taken.id)
    values = {"state": "delivered", "last_result": words}
    database.write(lambda session: session.execute(done.values(values)))


def failed(
    database: Database, taken: Delivery, words: str, now: datetime, not_before: int = 0
) -> bool:
    """Set the next attempt, at least ``not_before`` seconds away; False after the last one."""
    last = taken.attempts >= ATTEMPTS
    spread = random.uniform(1 - _JITTER, 1 + _JITTER)  # noqa: S311 - no secret
    wait = 0.0 if last else max(WAITS[taken.attempts - 1] * spread, not_before)
    values = {"state": "given-up" if last else "waiting", "last_result": words,
              "next_at": now + timedelta(seconds=wait)}  # fmt: skip
    # who has taken it since, because this lease ran out, knows better
    mine = update(Delivery).where(
        Delivery.id == taken.id, Delivery.attempts == taken.attempts, Delivery.state == "waiting"
    )
    database.write(lambda session: session.execute(mine.values(values)))
    return not last


def prune(database: Database, now: datetime) -> int:
    """Delete deliveries that ended long ago; returns how many, at most some hundreds at once."""

    def work(session: Session) -> int:
        count = 0
        for state, kept in KEEP.items():
            old = and_(Delivery.state == state, Delivery.next_at < now - kept)
            ids = session.scalars(select(Delivery.id).where(old).limit(_PRUNED_AT_ONCE)).all()
            session.execute(delete(Delivery).where(Delivery.id.in_(ids)))
            count += len(ids)
        return count

    return database.write(work)
