"""A receiver, a clock that a test moves, and a queue."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from api.cases.events import endpoints, outbox
from api.cases.events.sender import Sender
from api.store import Database
from api.store.models import Delivery, Endpoint
from tests.cases.events.receiver import Receiver, serving

LOOPBACK = ("127.0.0.0/8",)


@dataclass
class Clock:
    """A time that stands still until it is moved."""

    now: datetime

    def __call__(self) -> datetime:
        """Return the time."""
        return self.now

    def forward(self, seconds: float) -> None:
        """Move the time on."""
        self.now += timedelta(seconds=seconds)


@pytest.fixture
def clock() -> Clock:
    """A clock that starts at the real time: receivers refuse signatures of another day."""
    return Clock(datetime.now(UTC))


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A receiver that takes everything unless told otherwise."""
    with serving() as running:
        yield running


@dataclass
class Queue:
    """A queue with one endpoint: what tests do with it."""

    database: Database
    clock: Clock
    endpoint: Endpoint

    def put(self, *names: str) -> None:
        """Write an event for each name, all in one transaction."""
        with self.database.writing() as session:
            for name in names:
                outbox.enqueue(session, "case.closed", {"case": name}, self.clock())

    def sender(self, allowed: tuple[str, ...] = LOOPBACK) -> Sender:
        """Return a sender on this queue and clock."""
        return Sender(self.database, allowed, self.clock)

    def rows(self) -> list[Delivery]:
        """Return every delivery, oldest first."""
        with self.database.reading() as session:
            return list(session.scalars(select(Delivery).order_by(Delivery.id)))


@pytest.fixture
def add(database: Database, clock: Clock) -> Callable[..., Endpoint]:
    """Make an endpoint."""

    def make(url: str, *kinds: str, allowed: tuple[str, ...] = LOOPBACK) -> Endpoint:
        def work(session: Any) -> Endpoint:
            return endpoints.add(session, url, kinds or ("case.closed",), allowed, clock())

        return database.write(work)

    return make


@pytest.fixture
def queue(
    database: Database, clock: Clock, receiver: Receiver, add: Callable[..., Endpoint]
) -> Queue:
    """A queue whose endpoint is the receiver."""
    return Queue(database, clock, add(receiver.url))
