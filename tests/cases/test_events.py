"""Each step is told to who asks for it, in the transaction of the step."""

import json
from datetime import UTC, datetime

import pytest
from sqlalchemy import select

from api.cases import Book, StaleCase
from api.cases.book import EVENTS
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
    """Findings and closings are among the events; each carries the case at that version."""
    assert {"finding.added", "case.closed"} <= set(KINDS) <= set(EVENTS.values()) | set(KINDS)
    number = book.open({"machine": MACHINE}, "Dana").number
    book.add_findings(number, [VOLTS], "Ana")
    book.close(number, {"cause": "healthy"}, "Bo", 2)
    found = dict(waiting(database))
    assert found["finding.added"]["case"]["version"] == 2  # type: ignore[index]
    assert found["finding.added"]["changed"] == {"findings": [{"place": 1, **VOLTS}]}
    assert found["case.closed"]["by"] == "Bo"
    assert found["case.closed"]["case"] == book.get(number).to_dict()


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
