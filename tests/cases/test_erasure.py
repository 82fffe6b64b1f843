"""A person who is erased is nowhere: not in a table, a kept answer, an event or the file."""

from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from api.cases import Book
from api.cases.erasure import erase, forget
from api.cases.transfer import exported
from api.store import Database
from api.store.models import Base
from tests.cases.conftest import MACHINE, VOLTS

NAME, PHONE = "Gr\u00fcnhild Quexley", "0170 5551234"


@pytest.fixture
def number(client: FlaskClient, book: Book) -> str:
    """A case in which the person stands wherever people type."""
    opening = {"machine": MACHINE, "by": NAME, "complaint": f"Call {NAME} on {PHONE}.",
               "handed_to": NAME.upper()}  # fmt: skip
    made = client.post("/v1/cases", json=opening, headers={"Idempotency-Key": "k"})
    found: str = made.json["number"]
    book.add_findings(found, [VOLTS | {"note": f"told by {NAME}"}, VOLTS], NAME)
    book.withdraw(found, 2, NAME, f"{NAME} was not sure")
    book.close(found, {"cause": "ground-resistive", "note": PHONE}, f"{NAME} via till 3", None)
    return found


def test_nothing_of_the_person_is_left(book: Book, number: str, database: Database) -> None:
    """No table has the name or the number, escaped or not; the machine's facts are as they were."""
    before = book.get(number)
    assert erase(database, [NAME, PHONE]) >= 5
    after = book.get(number)
    assert after.outcome is not None
    assert after.outcome.by == "erased via till 3"
    assert (after.machine, after.findings[0].check) == (before.machine, before.findings[0].check)
    assert after.findings[0].body["value"] == 11.4
    with database.reading() as session:
        rows = [
            repr(row) for table in Base.metadata.sorted_tables for row in
            session.execute(select(table))
        ]  # fmt: skip
    rows += [repr(one.to_dict()) for one in exported(database, book.knowledge)]
    for text in ("quexley", "5551234"):
        assert not [row for row in rows if text in row.casefold()]
    assert book.diagnosis(number)["causes"]  # what was kept of it is made anew


def test_no_byte_is_left_in_the_files(book: Book, number: str, database: Database) -> None:
    """SQLite's file and the two beside it have been written over."""
    if not database.is_sqlite:
        pytest.skip("PostgreSQL keeps its files to itself")
    file = Path(str(database.url.database))
    assert b"Quexley" in b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
    erase(database, [NAME, PHONE])
    kept = b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
    assert b"quexley" not in kept.lower()
    assert b"5551234" not in kept


def test_a_word_inside_another_stays(book: Book, database: Database) -> None:
    """Who is called Ann is not taken out of 'Channel'; a text of two letters is refused."""
    case = book.open({"machine": MACHINE, "complaint": "Channel 3, says Ann."}, "Ann")
    erase(database, ["ann"])
    assert book.get(case.number).complaint == "Channel 3, says erased."
    with pytest.raises(ValueError, match="at least 3"):
        erase(database, ["Bo"])


def test_old_cases_forget_who_it_was(book: Book, number: str) -> None:
    """Of a case closed before the day, names and typed texts go and the facts stay; a newer one,
    and one that is open, keep theirs."""
    before = book.get(number)
    newer = book.open({"machine": MACHINE, "complaint": "whines"}, "Bo")
    assert forget(book.database, "2020-01-01") == 0
    assert forget(book.database, "2999-01-01") == 1
    assert forget(book.database, "2999-01-01") == 0
    after = book.get(number)
    told = repr([after.to_dict(), *(one.to_dict() for one in book.steps(number))]).casefold()
    for text in ("quexley", "5551234", "not sure"):
        assert text not in told
    assert after.outcome is not None
    assert before.outcome is not None
    assert (after.outcome.cause, after.outcome.at) == (before.outcome.cause, before.outcome.at)
    assert after.outcome.by == "erased via till 3"
    assert [one.body["value"] for one in after.findings] == [11.4, 11.4]
    assert book.get(newer.number).complaint == "whines"
