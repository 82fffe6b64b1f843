"""A store that commit 6e9e5a7 made opens today, and its cases read as they did then."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from api.cases import Book
from api.store import Database, SchemaState, schema_state, upgrade
from api.store.copying import copy
from api.store.models import CaseRow
from engine import Diagnoser, Knowledge

pytestmark = pytest.mark.both_databases

FOLDER = Path(__file__).parents[1] / "store"
THEN: dict[str, Any] = json.loads((FOLDER / "made_by_6e9e5a7.json").read_text(encoding="utf-8"))


def brought_up(file: Path, *before: str) -> Database:
    """Return the store as it was, changed by some statements, then brought up to date."""
    with closing(sqlite3.connect(file)) as made:
        made.executescript((FOLDER / "made_by_6e9e5a7.sql").read_text(encoding="utf-8"))
        made.executescript(";".join(before))
    database = Database(f"sqlite:///{file}")
    assert schema_state(database) is SchemaState.OLDER
    assert upgrade(database)
    return database


@pytest.fixture
def old(tmp_path: Path) -> Database:
    """The store as it was, an SQLite file, brought up to date."""
    return brought_up(tmp_path / "old.sqlite3")


def has(now: Any, then: Any) -> bool:
    """Return whether all that was there is there still; new keys may stand beside it."""
    if isinstance(then, dict):
        return all(key in now and has(now[key], value) for key, value in then.items())
    if isinstance(then, list):
        return len(now) == len(then) and all(map(has, now, then))
    return bool(now == then)


@pytest.mark.parametrize("number", THEN)
def test_cases_read_the_same(
    old: Database, database: Database, engine: Diagnoser, knowledge: Knowledge, number: str
) -> None:
    """Each case and each of its steps, on SQLite and, copied there, on PostgreSQL."""
    copy(old, database)
    book = Book(database, engine, knowledge)
    assert has(book.get(number).to_dict(), THEN[number]["case"])
    assert has([one.to_dict() for one in book.steps(number)], THEN[number]["steps"])
    assert book.diagnosis(number)["places"] is not None
    old.close()


def test_what_learning_goes_by_is_worked_out(old: Database) -> None:
    """Of the case that was closed then, the key, the day and whether it was borne out are known."""
    with old.reading() as session:
        (closed,) = session.query(CaseRow).filter(CaseRow.state == "closed")
    assert (closed.closed_key, closed.closed_on, closed.borne_out) == ("till 3", "2026-11-20", True)
    old.close()


def test_without_a_finding_that_counts_nothing_was_borne_out(tmp_path: Path) -> None:
    """A case whose findings were all withdrawn teaches nothing in the store brought up either."""
    withdrawn = "UPDATE case_findings SET withdrawn_at = '2026-11-20 00:00:00'"
    database = brought_up(tmp_path / "old.sqlite3", withdrawn)
    with database.reading() as session:
        assert not session.query(CaseRow).filter(CaseRow.borne_out).count()
    database.close()
