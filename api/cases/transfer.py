"""Cases out and in: an export of the whole book, and history that comes from elsewhere.

A case that is brought in keeps its times and the names in it, is marked as imported, and teaches
nothing until an administrator has reviewed it. Sent again it is not brought in again.
"""

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from hashlib import sha256
from typing import Any

from sqlalchemy import and_, or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.cases import Book, edits, numbers, texts
from api.cases.bodies import CaseOpeningSchema, moment_of
from api.cases.book import write_step
from api.cases.case import Case, CaseFinding, CaseStep, Withdrawal
from api.cases.diagnosis import diagnose_case
from api.cases.edits import Edit
from api.cases.learning import IMPORTED
from api.cases.lists import Wanted
from api.cases.replay.spread import EVERY, each_case
from api.cases.rows import case_of, new_row, step_of
from api.cases.table import table
from api.store import Database
from api.store.models import CaseRow
from api.strict_json import Json
from engine import Fault, Knowledge, RequestError
from engine.answer.documents import Document

MARK = 120  # characters of the mark of a case that is brought in
_OPENING = frozenset(CaseOpeningSchema().fields) - {"by"}
_OUTCOME = ("cause", "replaced", "minutes", "note")


@dataclass(frozen=True)
class CaseRecord(Document):
    """A case as it is exported: itself, and every step of it."""

    case: Case
    steps: tuple[CaseStep, ...]


def exported(
    database: Database, knowledge: Knowledge, wanted: Wanted = EVERY
) -> Iterator[CaseRecord]:
    """Give every case with its steps, in the order of opening; a page at a time is held."""

    def record(row: CaseRow) -> CaseRecord:
        return CaseRecord(case_of(row), tuple(step_of(one, knowledge) for one in row.steps))

    return each_case(database, record, wanted)


def exported_rows(
    database: Database, knowledge: Knowledge, wanted: Wanted = EVERY
) -> Iterator[str]:  # fmt: skip
    """Give the same cases without their steps as the lines of a table."""
    return table(each_case(database, case_of, wanted), knowledge)


def bring_in(book: Book, sent: Json) -> Case | None:
    """Keep a case from elsewhere; None when it is there already.

    ``sent`` is a case as it is exported, or its members that are known: ``machine``, ``opened_at``
    and ``opened_by`` at least, and ``imported_as``, a mark of its own, where it has no number. Of
    its steps only the opening and the end are made. Raises RequestError, StoreUnavailableError.
    """
    about = sent.get("case", sent)
    if not isinstance(about, Mapping):
        raise RequestError([Fault("case", "must be an object")])
    mark = _mark(about)
    if _is_there(book.database, mark, about):
        return None
    history = [replace(one, case=diagnose_case(book.engine, one.case, one.sent))
               for one in _edits(book, about)]  # fmt: skip
    for number in _numbers(about):
        numbered = [replace(one, case=replace(one.case, number=number)) for one in history]
        try:
            return book.database.write(partial(_write, book=book, history=numbered, mark=mark))
        except IntegrityError:  # the number is taken, or another import was first
            if _is_there(book.database, mark, about):
                return None
    raise RuntimeError("no free case number was drawn")


def _mark(about: Json) -> str:
    """Return the digest of what tells this case from every other: a mark may be anything."""
    mark, number = about.get("imported_as"), about.get("number")
    if not mark and not number:
        raise RequestError([Fault("imported_as", "is needed where a case has no number")])
    fault = texts.fault_of(mark, MARK) if mark else None
    if fault:
        raise RequestError([Fault("imported_as", fault)])
    return sha256(str(mark or f"{number} {about.get('opened_at')}").encode()).hexdigest()


def _is_there(database: Database, mark: str, about: Json) -> bool:
    """Return whether a case has this mark, or is the very one that was exported here."""
    digits = str(about.get("number", "")).replace(" ", "")
    same = and_(CaseRow.number == digits, CaseRow.opened_at == _moment(about, "opened_at"))
    with database.reading() as session:
        wanted = or_(CaseRow.imported_as == mark, same)
        return session.scalar(select(CaseRow.order).where(wanted)) is not None


def _edits(book: Book, about: Json) -> Iterator[Edit]:
    """Give the opening and the closing of a case, with the times and names that they had."""
    by, at = _name(about, "opened_by"), _moment(about, "opened_at")
    body = {name: value for name, value in about.items() if name in _OPENING}
    told = body.get("findings", ())
    if isinstance(told, list):
        body["findings"] = [_bare(one) for one in told]
    opened = edits.opened(body, numbers.SHOWN, by, at)
    found = tuple(map(_dated, opened.case.findings, told))
    opened = replace(opened, case=replace(opened.case, findings=found))
    yield opened
    ended = _object(about, "outcome")
    if ended is not None:
        last = _moment(ended, "at", "outcome.")
        body = {name: ended[name] for name in _OUTCOME if name in ended}
        by = _name(ended, "by", "outcome.")
        done = edits.closed(opened.case, body, book.knowledge, by, last)
        yield replace(done, case=replace(done.case, version=2, changed_at=last))


def _bare(told: Any) -> Any:
    """Return a finding as it was sent, without what the case put beside it."""
    own = ("place", "by", "at", "withdrawn", "photos")
    if not isinstance(told, Mapping):
        return told  # the schema says what is wrong with it
    return {key: value for key, value in told.items() if key not in own}


def _dated(one: CaseFinding, told: Json) -> CaseFinding:
    path = f"findings[{one.place - 1}]."
    by = _name(told, "by", path) if "by" in told else one.by
    at = _moment(told, "at", path) if "at" in told else one.at
    gone = _object(told, "withdrawn", path)
    withdrawn = None if gone is None else _withdrawal(gone, f"{path}withdrawn.")
    return replace(one, by=by, at=at, withdrawn=withdrawn)


def _withdrawal(told: Json, path: str) -> Withdrawal:
    because = told.get("because", "")
    fault = texts.fault_of(because, texts.BECAUSE, lines=True)
    edits.refuse([Fault(f"{path}because", fault)] if fault else [])
    return Withdrawal(_name(told, "by", path), _moment(told, "at", path), because)


def _object(told: Json, key: str, path: str = "") -> Json | None:
    found = told.get(key)
    if found is not None and not isinstance(found, Mapping):
        raise RequestError([Fault(path + key, "must be an object, or null")])
    return found


def _name(told: Json, key: str, path: str = "") -> str:
    value = told.get(key)
    fault = texts.fault_of(value, texts.NAME * 2)
    if fault:
        raise RequestError([Fault(path + key, fault)])
    return str(value)


def _moment(told: Json, key: str, path: str = "") -> datetime:
    at = moment_of(str(told.get(key)))
    if at is None:
        message = "must be a time with its zone, as 2026-11-25T09:30:00Z"
        raise RequestError([Fault(path + key, message)])
    return at


def _numbers(about: Json) -> Iterator[str]:
    """Give the number that the case had, then others for where that one is taken."""
    with suppress(numbers.NotANumberError):
        yield numbers.read(str(about.get("number", "")))
    for _ in range(20):
        yield numbers.draw()


def _write(session: Session, book: Book, history: list[Edit], mark: str) -> Case:
    last = history[-1].case
    row = new_row(last, book.knowledge)
    row.imported_as, row.learn = mark, IMPORTED
    session.add(row)
    session.flush()
    for one in history:
        by = one.case.outcome.by if one.case.outcome else one.case.opened_by
        write_step(session, row, one, by)
    return last
