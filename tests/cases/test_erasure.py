"""A person who is erased is nowhere: not in a table, a kept answer, an event or the file."""

from pathlib import Path
from unicodedata import normalize

import pytest
from flask.testing import FlaskClient
from sqlalchemy import JSON, LargeBinary, String, select

from api.access.keys import make
from api.cases import Book, erasure
from api.cases.erasure import TYPED, WHOLE, SpaceNotFreedError, erase, forget
from api.cases.transfer import exported
from api.store import Database
from api.store.models import ApiKey, Base, Delivery, Endpoint, KeptAnswer
from tests.cases.conftest import MACHINE, NOON, VOLTS

pytestmark = pytest.mark.both_databases

NAME, PHONE, KEY = "Gr\u00fcnhild Quexlei\u00df", "0170 5551234", "callback-7"


@pytest.fixture
def number(client: FlaskClient, book: Book) -> str:
    """A case in which the person stands wherever people type."""
    opening = {"machine": MACHINE, "by": NAME, "complaint": f"Call {NAME} on {PHONE}.",
               "handed_to": normalize("NFD", NAME.upper()),
               "done": [{"part": f"fuse of {NAME}"}]}  # fmt: skip
    made = client.post("/v1/cases", json=opening, headers={"Idempotency-Key": KEY})
    found: str = made.json["number"]
    book.add_findings(found, [VOLTS | {"note": f"told by {NAME}"}, VOLTS], NAME)
    book.withdraw(found, 2, NAME, f"{NAME} was not sure")
    outcome = {"cause": "ground-resistive", "note": PHONE, "replaced": [f"{NAME}'s coil"]}
    book.close(found, outcome, f"{NAME} via till 3", None)
    return found


def kept(database: Database) -> str:
    """Return every row of every table as text, in lower case."""
    with database.reading() as session:
        rows = [
            repr(row) for table in Base.metadata.sorted_tables for row in
            session.execute(select(table))
        ]  # fmt: skip
    return "\n".join(rows).casefold()


def test_nothing_of_the_person_is_left(book: Book, number: str, database: Database) -> None:
    """No table has the name or the number, escaped, folded or taken apart; the machine's facts are
    as they were."""
    before = book.get(number)
    assert erase(database, [NAME, PHONE, KEY]) >= 5
    after = book.get(number)
    assert after.outcome is not None
    assert after.outcome.by == "erased via till 3"
    assert (after.machine, after.findings[0].check) == (before.machine, before.findings[0].check)
    assert after.findings[0].body["value"] == 11.4
    told = kept(database)
    told += repr([one.to_dict() for one in exported(database, book.knowledge)]).casefold()
    for text in ("quexlei", "5551234", KEY):
        assert text not in told
    assert book.diagnosis(number)["causes"]  # what was kept of it is made anew


def test_words_of_the_program_stay(book: Book, database: Database) -> None:
    """A text that is a role, a state or a kind of step too is taken out of what persons typed."""
    database.write(lambda session: make(session, "admin of the office", "admin"))
    number = book.open({"machine": MACHINE, "complaint": "valve open, says admin"}, "Bo").number
    erase(database, ["admin", "open", "opened", "MACHINE"])
    assert book.get(number).state == "open"
    assert book.get(number).complaint == "valve erased, says erased"
    assert [one.kind for one in book.steps(number)] == ["opened"]
    with database.reading() as session:
        (key,) = session.scalars(select(ApiKey))
    assert (key.role, key.name) == ("admin", "erased of the office")


def test_every_column_is_the_programs_or_looked_into() -> None:
    """A new column is added to one side or the other."""
    looked = {(table, name) for table, names in TYPED.items() for name in names}
    looked |= set(WHOLE.items())
    own = {
        "cases": "number state machine circuit confirmed closed_on learn imported_as leading",
        "case_findings": "photos", "case_photos": "name body",  # taken out by the case
        "case_steps": "kind diagnosis", "case_diagnoses": "made_with", "api_keys": "id role digest",
        "installation": "name value", "kept_answers": "caller fingerprint",
        "endpoints": "id url events secret old_secret",
        "deliveries": "message endpoint_id kind state",
    }  # fmt: skip
    for mapper in Base.registry.mappers:
        texts = [one for one in mapper.columns if isinstance(one.type, String | JSON | LargeBinary)]
        names = {one.name for one in texts if (mapper.class_, one.name) not in looked}
        assert names == set(own.get(mapper.class_.__tablename__, "").split())


def test_no_byte_is_left_in_the_files(book: Book, number: str, database: Database) -> None:
    """SQLite's file and the two beside it have been written over."""
    if not database.is_sqlite:
        pytest.skip("PostgreSQL keeps its files to itself")
    file = Path(str(database.url.database))
    assert b"Quexlei" in b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
    erase(database, [NAME, PHONE])
    left = b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
    assert b"quexlei" not in left.lower()
    assert b"5551234" not in left


def test_who_reads_meanwhile_is_told_of(
    book: Book, number: str, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While somebody reads what was, its bytes stay, and that is said; run again they go."""
    if not database.is_sqlite:
        pytest.skip("PostgreSQL waits for its readers by itself")
    monkeypatch.setattr(erasure, "BUSY_SECONDS", 0)
    with database.reading() as session:
        session.execute(select(ApiKey)).all()
        with pytest.raises(SpaceNotFreedError, match="run it again"):
            erase(database, [NAME])
    assert erase(database, [NAME]) == 0


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
    assert after.outcome is not None
    assert before.outcome is not None
    assert (after.outcome.cause, after.outcome.at) == (before.outcome.cause, before.outcome.at)
    assert after.outcome.by == "erased via till 3"
    assert [one.body["value"] for one in after.findings] == [11.4, 11.4]
    assert after.outcome.replaced == ("erased",)
    assert book.diagnosis(number)["causes"]
    assert book.get(newer.number).complaint == "whines"


def test_nothing_else_remembers_an_old_case(book: Book, number: str, database: Database) -> None:
    """Not what learning goes by, not an event that was sent or given up, and no byte of the file;
    only replies to requests, which are kept for a day."""
    sent = {"kind": "case.closed", "payload": NAME, "made_at": NOON, "next_at": NOON}
    about = {"url": "https://example.org", "events": [], "secret": "", "made_at": NOON}
    with database.writing() as session:
        session.add(Endpoint(id="e", **about))
        session.flush()
        for state in ("delivered", "given-up"):
            session.add(Delivery(message=state, endpoint_id="e", state=state, **sent))
    keyless = book.open({"machine": MACHINE}, NAME).number
    book.close(keyless, {"cause": "ground-resistive"}, NAME, None)
    with database.writing() as session:
        session.query(KeptAnswer).delete()
    assert forget(database, "2999-01-01") == 2
    told = kept(database).replace(f"fuse of {NAME}".casefold(), "")  # what was put right
    for text in ("quexlei", "5551234", "not sure"):
        assert text not in told
    if database.is_sqlite:
        file = Path(str(database.url.database))
        left = b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
        assert b"5551234" not in left
