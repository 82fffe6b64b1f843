"""The sender of a worker: it starts with the application and stops with it."""

import time
from collections.abc import Callable

import pytest

from api import create_app
from api.cases import events
from api.cases.events import sender as senders
from api.settings import load
from engine import Diagnoser
from tests.cases.events.conftest import Queue
from tests.cases.events.receiver import Receiver

pytestmark = pytest.mark.both_databases


def _wait_until(true: Callable[[], bool], seconds: float = 20) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_starts_and_stops_with_the_application(
    queue: Queue, receiver: Receiver, engine: Diagnoser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once started an event goes out by itself; once stopped none does; both may be said twice."""
    monkeypatch.setattr(senders, "POLL_SECONDS", 0.05)
    app = create_app({
        "KNOWLEDGE": engine.knowledge, "DIAGNOSER": engine, "DATABASE": queue.database,
        "SETTINGS": load({"webhook_allow": "127.0.0.0/8"}, environment={}),
    })  # fmt: skip
    events.start(app)
    events.start(app)
    queue.put("a")
    _wait_until(lambda: len(receiver.bodies) == 1)
    events.stop()
    events.stop()
    queue.put("b")
    time.sleep(0.3)
    assert len(receiver.bodies) == 1


def test_a_database_that_is_away_is_waited_for(
    queue: Queue, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sender goes on by itself when the database is back."""
    from api.store import StoreUnavailableError

    monkeypatch.setattr(senders, "POLL_SECONDS", 0.05)
    calls, real = [], senders.queue.take

    def away_at_first(*arguments: object) -> object:
        calls.append(1)
        if len(calls) < 4:
            raise StoreUnavailableError("away")
        return real(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(senders.queue, "take", away_at_first)
    queue.put("a")
    running = queue.sender()
    running.start()
    _wait_until(lambda: len(receiver.bodies) == 1)
    running.stop(5)
