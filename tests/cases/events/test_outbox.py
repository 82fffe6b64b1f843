"""An event is written with the change that it tells of, for those who ask for it."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.cases.events import endpoints, enqueue, queue
from api.store import Database
from api.store.models import Delivery, Endpoint

pytestmark = pytest.mark.both_databases

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
URL = "http://127.0.0.1:9/hook"


def _count(database: Database) -> int:
    with database.reading() as session:
        return session.scalar(select(func.count()).select_from(Delivery)) or 0


def test_goes_to_those_who_ask_for_it(database: Database, add: Callable[..., Endpoint]) -> None:
    """Of three endpoints, one asks for another kind and one is disabled: one delivery is made."""
    wanted = add(URL, "case.closed", "finding.added")
    add(URL, "finding.added")
    off = add(URL, "case.closed")
    with database.writing() as session:
        endpoints.disable(session, off.id, NOON, "test")
    with database.writing() as session:
        enqueue(session, "case.closed", {"number": "104"}, NOON)
    with database.reading() as session:
        found = session.scalars(select(Delivery)).one()
    assert (found.endpoint_id, found.kind, found.state) == (wanted.id, "case.closed", "waiting")


def test_payload_is_type_timestamp_and_data(
    database: Database, add: Callable[..., Endpoint]
) -> None:
    """The payload has the three members that the specification names, the time in UTC."""
    add(URL)
    with database.writing() as session:
        enqueue(session, "case.closed", {"note": "Kabel grün"}, NOON)
    with database.reading() as session:
        payload = session.scalars(select(Delivery)).one().payload
    assert json.loads(payload) == {
        "type": "case.closed",
        "timestamp": "2026-11-25T12:00:00.000000Z",
        "data": {"note": "Kabel grün"},
    }
    assert not payload.endswith("\n")


def test_is_gone_with_a_transaction_that_fails(
    database: Database, add: Callable[..., Endpoint]
) -> None:
    """What is rolled back leaves no event of what did not happen."""
    add(URL)

    def work(session: Session) -> None:
        enqueue(session, "case.closed", {}, NOON)
        session.flush()
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        database.write(work)
    assert _count(database) == 0


def test_a_new_secret_leaves_the_old_one_a_day(
    database: Database, add: Callable[..., Endpoint]
) -> None:
    """After a rotation both secrets sign, a day later the new one alone."""
    old = add(URL)
    with database.writing() as session:
        new = endpoints.rotate(session, old.id, NOON)
        enqueue(session, "case.closed", {}, NOON)
        enqueue(session, "case.closed", {}, NOON)
    first = queue.take(database, NOON)
    assert first is not None
    assert endpoints.secrets_of(first[1], NOON) == (new, old.secret)
    later = queue.take(database, NOON + timedelta(days=2))
    assert later is not None
    assert endpoints.secrets_of(later[1], NOON + timedelta(days=2)) == (new,)
