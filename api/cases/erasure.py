"""Taking a person out of the store: names, phones and whatever else is named, everywhere.

What the case tells of the machine stays. A text is found wherever it stands as a word, in any case
of letters: in cases, their steps, kept answers, events that wait, and the names of keys.
"""

import json
import re
import sqlite3
import zlib
from collections.abc import Sequence
from contextlib import closing
from typing import Any

from sqlalchemy import JSON, LargeBinary, String, Table, and_, delete, inspect, select, text, update
from sqlalchemy.orm import Session

from api.store import Database
from api.store.database import BUSY_SECONDS
from api.store.models import Base, CaseRow, DiagnosisRow

ERASED = "erased"
LEAST = 3  # letters of what can be erased: a shorter text stands in too much else
# keys whose words are the knowledge's own and nobody's name
_TECHNICAL = frozenset((
    "check", "outcome", "unit", "cause", "causes", "duty", "control", "coil", "kind", "measured_to",
    "moment", "plug", "side", "id", "name", "say", "on_hand", "excluded", "knowledge_version",
))  # fmt: skip
_OWN = ("machine", "settings", "leading", "diagnosis", "url", "secret", "old_secret", "digest")


def erase(database: Database, words: Sequence[str]) -> int:
    """Put ``erased`` in the place of each text; returns how many rows had one.

    The space that they took is written over: in SQLite's file and its journal, and in PostgreSQL's
    tables (its own log and backups are the administrator's). Raises ValueError for a text that is
    too short, StoreUnavailableError.
    """
    short = [one for one in words if len(one.strip()) < LEAST]
    if short or not words:
        raise ValueError(f"give texts of at least {LEAST} characters")
    found = re.compile(
        "|".join(rf"(?<!\w){re.escape(one.strip())}(?!\w)" for one in words), re.IGNORECASE
    )
    count = database.write(lambda session: sum(_in_table(session, one, found) for one in _tables()))
    _write_over(database)
    return count


def _tables() -> list[Table]:
    return [one for one in Base.metadata.sorted_tables if one.name != "installation"]


def _in_table(session: Session, table: Table, found: re.Pattern[str]) -> int:
    count = 0
    keys = list(inspect(table).primary_key)
    texts = [one for one in table.columns if isinstance(one.type, String | JSON)]
    texts = [one for one in texts if one not in keys and one.name not in _OWN]
    bodies = [one for one in table.columns if isinstance(one.type, LargeBinary)]
    for row in session.execute(select(*keys, *texts, *bodies)).mappings().all():
        this = [key == row[key.name] for key in keys]
        if any(found.search(zlib.decompress(row[one.name]).decode()) for one in bodies):
            session.execute(delete(table).where(*this))  # a kept diagnosis, which is made anew
            count += 1
            continue
        changed = {one.name: _without(row[one.name], found) for one in texts}
        changed = {name: value for name, value in changed.items() if value != row[name]}
        if changed:
            session.execute(update(table).where(*this).values(changed))
            count += 1
    return count


def _without(value: Any, found: re.Pattern[str]) -> Any:
    """Return a value, of whatever depth, without the texts; a document in a text is one too."""
    if isinstance(value, str):
        if value.startswith("{"):
            try:
                return _as_text(_without(json.loads(value), found), value)
            except json.JSONDecodeError:
                pass
        return found.sub(ERASED, value)
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


_TYPED = frozenset(("note", "because", "complaint", "handed_to"))


def forget(database: Database, before: str) -> int:
    """Take persons, and what they typed, out of cases that were closed before a day (ISO, UTC).

    Machine, findings, cause and times stay. Returns how many cases it was about. Raises
    StoreUnavailableError.
    """
    count = 0
    while some := database.write(lambda session: _forget_some(session, before)):
        count += some
    return count


def _forget_some(session: Session, before: str) -> int:
    old = and_(CaseRow.state == "closed", CaseRow.closed_on < before, CaseRow.closed_on != "")
    told = CaseRow.search != CaseRow.number  # of one that is forgotten nothing else is searched
    rows = session.scalars(select(CaseRow).where(old, told).limit(100)).all()
    for row in rows:
        row.opened_by, row.handed_to, row.complaint = _nobody(row.opened_by), "", ""
        row.search, row.outcome = row.number, _untold(row.outcome)
        for one in row.findings:
            one.by, one.body = _nobody(one.by), _untold(one.body)
            one.withdrawn_by = one.withdrawn_by and _nobody(one.withdrawn_by)
            one.withdrawn_because = one.withdrawn_because and ""
        for step in row.steps:
            step.by, step.body = _nobody(step.by), _untold(step.body)
        session.execute(delete(DiagnosisRow).where(DiagnosisRow.case_order == row.order))
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
    return {
        name: "" if name in _TYPED else _nobody(one) if name == "by" else _untold(one)
        for name, one in value.items()
    }


def _write_over(database: Database) -> None:
    if database.is_sqlite:
        file = str(database.url.database)
        with closing(sqlite3.connect(file, isolation_level=None, timeout=BUSY_SECONDS)) as alone:
            for statement in ("VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
                alone.execute(statement)
        return
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        for table in Base.metadata.sorted_tables:
            connection.execute(text(f'VACUUM (FULL) "{table.name}"'))
