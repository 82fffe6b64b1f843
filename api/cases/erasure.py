"""Taking a person out of the store: names, phones and whatever else is named, everywhere.

What the case tells of the machine stays. A text is found wherever it stands as a word, in any case
of letters: in cases, their steps, kept answers, events that wait, and the names of keys.
Photos of a case that named the person go with it.
"""

import json
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing, suppress
from datetime import datetime
from typing import Any
from unicodedata import normalize

from sqlalchemy import and_, delete, inspect, select, text, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from api.cases.texts import OF_THE_CALLER, TEXTS
from api.store import Database
from api.store.database import BUSY_SECONDS
from api.store.models import (
    ApiKey,
    Base,
    CasePhoto,
    CaseRow,
    Delivery,
    DiagnosisRow,
    FindingRow,
    KeptAnswer,
    StepRow,
)

ERASED = "erased"
LEAST = 3  # letters of what can be erased: a shorter text stands in too much else
# where the words of persons may stand; what the program writes by itself is nowhere else
TYPED: Mapping[type[Base], tuple[str, ...]] = {
    CaseRow: (*TEXTS, "opened_by", "closed_key", "search", "settings", "outcome"),
    FindingRow: ("body", "by", "withdrawn_by", "withdrawn_because"),
    StepRow: ("by", "body"),
    ApiKey: ("name",),
    KeptAnswer: ("headers", "body"),
    Delivery: ("payload", "last_result"),
}
# and where a row goes as a whole: a diagnosis is made anew, a key of a request is the caller's own
WHOLE: Mapping[type[Base], str] = {DiagnosisRow: "body", KeptAnswer: "key"}
# keys whose words are the knowledge's own and nobody's name
_TECHNICAL = frozenset((
    "check", "outcome", "unit", "cause", "causes", "duty", "control", "coil", "kind", "measured_to",
    "moment", "plug", "side", "id", "name", "say", "on_hand", "excluded", "knowledge_version",
))  # fmt: skip


class SpaceNotFreedError(Exception):
    """The texts are out of the tables, but the space that they took is not yet written over."""


def erase(database: Database, words: Sequence[str]) -> int:
    """Put ``erased`` in the place of each text; returns how many rows had one.

    The space that they took is written over: in SQLite's file and its journal, and in PostgreSQL's
    tables (its own log and backups are the administrator's). Raises ValueError for a text that is
    too short, StoreUnavailableError, and SpaceNotFreedError when others kept the file in use.
    """
    if not words or any(len(one.strip()) < LEAST for one in words):
        raise ValueError(f"give texts of at least {LEAST} characters")
    found = _pattern(words)

    def work(session: Session) -> int:
        gone = sum(_rows_out(session, table, name, found) for table, name in WHOLE.items())
        rows = {table: _words_out(session, table, names, found) for table, names in TYPED.items()}
        orders = [order for (order,) in rows[CaseRow]]
        if rows[FindingRow]:
            ids = [row[0] for row in rows[FindingRow]]
            of = select(FindingRow.case_order).where(FindingRow.id.in_(ids))
            orders += session.scalars(of)
        _photos_out(session, orders)
        return gone + sum(map(len, rows.values()))

    count = database.write(work)
    _write_over(database)
    return count


def _photos_out(session: Session, orders: Sequence[int]) -> None:
    """Delete the photos of cases: who was named there may be seen on them."""
    of = FindingRow.case_order.in_(orders), FindingRow.photos.is_not(None)
    session.execute(update(FindingRow).where(*of).values(photos=None))
    session.execute(delete(CasePhoto).where(CasePhoto.case_order.in_(orders)))


def _pattern(words: Iterable[str]) -> re.Pattern[str]:
    """Return what finds each text in NFC, as it was typed and as it is searched for."""
    forms = {normalize("NFC", form) for one in words for form in (one, one.casefold())}
    spaced = (r"\s+".join(map(re.escape, one.split())) for one in sorted(forms))
    return re.compile(rf"(?<!\w)(?:{'|'.join(spaced)})(?!\w)", re.IGNORECASE)


def _rows_out(session: Session, table: type[Base], name: str, found: re.Pattern[str]) -> int:
    """Delete the rows that have a text in one column."""
    keys = inspect(table).primary_key
    rows = session.execute(select(*keys, getattr(table, name))).all()
    gone = [row[:-1] for row in rows if found.search(normalize("NFC", _read(row[-1])))]
    for this in gone:
        which = (key == value for key, value in zip(keys, this, strict=True))
        session.execute(delete(table).where(*which))
    return len(gone)


def _read(kept: str | bytes) -> str:
    return kept if isinstance(kept, str) else zlib.decompress(kept).decode()


def _words_out(
    session: Session, table: type[Base], names: Sequence[str], found: re.Pattern[str]
) -> list[tuple[Any, ...]]:
    """Take the texts out of columns; returns the keys of the rows that had one."""
    gone = []
    keys = inspect(table).primary_key
    columns = [getattr(table, name) for name in names]
    for row in session.execute(select(*keys, *columns)).all():
        this, before = row[: len(keys)], row[len(keys) :]
        after = [_without(one, found) for one in before]
        if after != list(before):
            which = (key == value for key, value in zip(keys, this, strict=True))
            changed = dict(zip(names, after, strict=True))
            session.execute(update(table).where(*which).values(changed))
            gone.append(tuple(this))
    return gone


def _without(value: Any, found: re.Pattern[str]) -> Any:
    """Return a value, of whatever depth, without the texts; a document in a text is one too."""
    if isinstance(value, str):
        if value.startswith("{"):
            with suppress(ValueError, RecursionError):  # what a person typed may begin so, too
                inside = json.loads(value)
                bare = _without(inside, found)
                return value if bare == inside else _as_text(bare, value)
        whole, times = found.subn(ERASED, normalize("NFC", value))
        return whole if times else value
    if isinstance(value, list):
        return [_without(one, found) for one in value]
    if isinstance(value, dict):
        return {
            name: one if name in _TECHNICAL and isinstance(one, str) else _without(one, found)
            for name, one in value.items()
        }
    return value


def _as_text(value: Any, before: str) -> str:
    end = "\n" if before.endswith("\n") else ""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")) + end


def forget(database: Database, before: str) -> int:
    """Take persons, and what they typed, out of cases that were closed before a day (ISO, UTC).

    Machine, findings, what was put right (it names a part), cause and times stay; events of that
    time that wait for nobody go. Returns how many cases it was about. Raises StoreUnavailableError.
    """
    count = 0
    while some := database.write(lambda session: _forget_some(session, before)):
        count += some
    if count and database.is_sqlite:
        with suppress(sqlite3.OperationalError):  # what is in use goes when SQLite writes there
            _empty_journal(database, seconds=1.0)
    return count


def _forget_some(session: Session, before: str) -> int:
    old = and_(CaseRow.state == "closed", CaseRow.closed_on < before, CaseRow.closed_on != "")
    told = CaseRow.search != CaseRow.number  # of one that is forgotten nothing else is searched
    rows = session.scalars(select(CaseRow).where(old, told).limit(100)).all()
    for row in rows:
        row.opened_by, row.handed_to, row.complaint = _nobody(row.opened_by), "", ""
        for name in OF_THE_CALLER:
            setattr(row, name, "")
        row.search = row.number
        if row.outcome is not None and " via " not in row.outcome["by"]:
            row.closed_key = ERASED
        row.outcome = _untold(row.outcome)
        for one in row.findings:
            one.by, one.body = _nobody(one.by), _untold(one.body)
            one.withdrawn_by = one.withdrawn_by and _nobody(one.withdrawn_by)
            one.withdrawn_because = one.withdrawn_because and ""
        for step in row.steps:
            step.by, step.body = _nobody(step.by), _untold(step.body)
        session.execute(delete(DiagnosisRow).where(DiagnosisRow.case_order == row.order))
        _photos_out(session, [row.order])
    if rows:
        day = datetime.fromisoformat(f"{before}T00:00:00Z")
        ended = and_(Delivery.state != "waiting", Delivery.made_at < day)
        session.execute(delete(Delivery).where(ended))
    return len(rows)


def _nobody(by: str) -> str:
    _, via, key = by.rpartition(" via ")
    return f"{ERASED}{via}{key}" if via else ERASED


def _untold(value: Any) -> Any:
    """Return a value without what persons typed in it, of whatever depth."""
    if isinstance(value, list):
        return [_untold(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {name: _OF_PERSONS.get(name, _untold)(one) for name, one in value.items()}


_OF_PERSONS: Mapping[str, Callable[[Any], Any]] = {
    "by": _nobody, "replaced": lambda parts: [ERASED for _ in parts],
    **dict.fromkeys(("note", "because", "complaint", "handed_to", *OF_THE_CALLER), lambda _: ""),
}  # fmt: skip


def _write_over(database: Database) -> None:
    """Write over what is free. Raises SpaceNotFreedError."""
    try:
        if not database.is_sqlite:
            alone = database.engine.execution_options(isolation_level="AUTOCOMMIT")
            with alone.connect() as connection:
                for table in Base.metadata.sorted_tables:
                    connection.execute(text(f'VACUUM (FULL) "{table.name}"'))
        elif not _empty_journal(database, BUSY_SECONDS, "VACUUM"):
            raise SpaceNotFreedError(_NOT_FREED)
    except (sqlite3.OperationalError, DBAPIError) as error:
        raise SpaceNotFreedError(_NOT_FREED) from error


_NOT_FREED = (
    "erased, but the space it took is not yet written over; run it again with the service stopped"
)


def _empty_journal(database: Database, seconds: float, *first: str) -> bool:
    """Write SQLite's journal into its file; False where somebody reads from it for so long."""
    file = str(database.url.database)
    with closing(sqlite3.connect(file, isolation_level=None, timeout=seconds)) as alone:
        for statement in first:
            alone.execute(statement)
        busy, *_ = alone.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    return not busy
