"""Each step is told to who asks for it, in the transaction of the step."""

import json
import threading
from datetime import UTC, datetime

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from api.cases import Book, StaleCase
from api.cases.events import KINDS
from api.store import Database
from api.store.models import Delivery, Endpoint
from tests.cases.conftest import MACHINE, VOLTS


@pytest.fixture
def endpoint(database: Database) -> None:
    """An address that asks for every kind of event."""
    with database.writing() as session:
        row = Endpoint(id="e", url="http://localhost/", events=list(KINDS), disabled_at=None)
        row.secret, row.made_at = "x", datetime.now(UTC)
        session.add(row)


def waiting(database: Database) -> list[tuple[str, dict[str, object]]]:
    """Return what waits to be sent."""
    with database.reading() as session:
        rows = session.scalars(select(Delivery).order_by(Delivery.id)).all()
        return [(row.kind, json.loads(row.payload)["data"]) for row in rows]


def test_steps_are_told(book: Book, database: Database, endpoint: None) -> None:
    """Every kind of step is an event; each carries the case at that version."""
    number = book.open({"machine": MACHINE}, "Dana").number
    book.add_findings(number, [VOLTS], "Ana")
    book.close(number, {"cause": "healthy"}, "Bo", 2)
    found = dict(waiting(database))
    assert found["finding.added"]["case"]["version"] == 2  # type: ignore[index]
    assert found["finding.added"]["changed"] == {"findings": [{"place": 1, **VOLTS}]}
    assert found["case.closed"]["by"] == "Bo"
    assert found["case.closed"]["case"] == book.get(number).to_dict()
    book.reopen(number, "", "Bo")
    book.withdraw(number, 1, "Bo")
    book.change(number, {"complaint": "x"}, "Bo", None)
    assert {kind for kind, _ in waiting(database)} == set(KINDS)


def test_a_step_that_fails_is_not_told(book: Book, database: Database, endpoint: None) -> None:
    """A refused step, and one that is undone at the end, leave no event."""
    number = book.open({"machine": MACHINE}, "Dana").number
    before = waiting(database)
    with pytest.raises(StaleCase):
        book.add_findings(number, [VOLTS], "Ana", 7)

    def fail(*_: object) -> None:
        raise RuntimeError

    with pytest.raises(RuntimeError):
        book.add_findings(number, [VOLTS], "Ana", also=fail)
    assert waiting(database) == before
    assert book.get(number).version == 1
    assert len(book.steps(number)) == 1


@pytest.mark.both_databases
def test_the_feed_tells_everything_once(book: Book, client: FlaskClient) -> None:
    """Pages of two, each begun where the last one ended, have every step of every case in order."""
    first, second = (book.open({"machine": MACHINE}, "Dana") for _ in range(2))
    book.add_findings(first.number, [VOLTS], "Ana")
    book.close(second.number, {"cause": "healthy"}, "Bo", None)
    told, after = [], 0
    while page := client.get(f"/v1/events?limit=2&after={after}").json:
        told += [(one["type"], one["number"], one["by"]) for one in page["events"]]
        if page["next_after"] == after:
            break
        after = page["next_after"]
    one, other = first.shown_number, second.shown_number
    assert told == [
        ("case.opened", one, "Dana"), ("case.opened", other, "Dana"),
        ("finding.added", one, "Ana"), ("case.closed", other, "Bo"),
    ]  # fmt: skip


@pytest.mark.both_databases
def test_no_step_is_overtaken(book: Book) -> None:
    """While one case is not committed yet the next one is not told: who asks misses neither."""
    inside, go_on = threading.Event(), threading.Event()

    def hold(*_: object) -> None:
        inside.set()
        go_on.wait(30)

    def open_one(*also: object) -> threading.Thread:
        started = threading.Thread(target=book.open, args=({"machine": MACHINE}, "Dana", *also))
        started.start()
        return started

    book.open({"machine": MACHINE}, "Dana")
    first = open_one(hold)
    assert inside.wait(30)
    second = open_one()
    second.join(0.5)
    early = book.events(0, 9)
    go_on.set()
    first.join()
    second.join()
    assert len(early.events) + len(book.events(early.next_after, 9).events) == 3
