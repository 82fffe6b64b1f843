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

from marshmallow import EXCLUDE, Schema, ValidationError, fields, validate, validates_schema
from sqlalchemy import and_, or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.cases import Book, edits, numbers, texts
from api.cases.bodies import CaseOpeningSchema, CountedList, Moment, TypedText
from api.cases.book import write_step
from api.cases.case import Case, CaseFinding, CaseStep, Withdrawal
from api.cases.diagnosis import diagnose_case
from api.cases.edits import Edit
from api.cases.learning import IMPORTED
from api.cases.lists import EVERY, Wanted, each_case
from api.cases.rows import add_case, case_of, step_of
from api.cases.table import table
from api.store import Database
from api.store.models import CaseRow
from api.strict_json import Json
from engine import Fault, Knowledge, RequestError
from engine.answer.documents import Document
from engine.knowledge.shapes import flatten
from engine.reasoning.request import MAX_FINDINGS

MARK = 120  # characters of the mark of a case that is brought in
_OPENING = frozenset(CaseOpeningSchema().fields) - {"by"}
_BESIDE = ("place", "by", "at", "withdrawn", "photos")  # what a case puts beside a finding
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


class _SaidSchema(Schema):
    """Who said something, and when."""

    class Meta:
        unknown = EXCLUDE

    by = TypedText("Who.", 2 * texts.NAME, required=True)
    at = Moment("When.", 40, required=True)


class _WithdrawnSchema(_SaidSchema):
    because = TypedText("Why.", texts.BECAUSE, lines=True, load_default="")


class _FoundSchema(_SaidSchema):
    by = TypedText("Who.", 2 * texts.NAME)
    at = Moment("When.", 40)
    withdrawn = fields.Nested(_WithdrawnSchema, allow_none=True)


class _HistorySchema(_SaidSchema):
    """What a case from elsewhere says beside what opens and closes any case."""

    by = TypedText("Who.", 2 * texts.NAME, required=True, data_key="opened_by")
    at = Moment("When.", 40, required=True, data_key="opened_at")
    findings = CountedList(
        fields.Nested(_FoundSchema),
        load_default=list,
        validate=validate.Length(max=MAX_FINDINGS, error=f"has over {MAX_FINDINGS} entries"),
    )
    outcome = fields.Nested(_SaidSchema, allow_none=True, load_default=None)
    imported_as = TypedText("Its mark.", MARK, allow_none=True)

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def _has_a_mark(self, _: Json, original: Json, **__: Any) -> None:
        if not original.get("imported_as") and not original.get("number"):
            raise ValidationError("is needed where a case has no number", "imported_as")


def bring_in(book: Book, sent: Json) -> Case | None:
    """Keep a case from elsewhere; None when it is there already.

    ``sent`` is a case as it is exported, or its members that are known: ``machine``, ``opened_at``
    and ``opened_by`` at least, and ``imported_as``, a mark of its own, where it has no number. Of
    its steps only the opening and the end are made. Raises RequestError, StoreUnavailableError.
    """
    about = sent.get("case", sent)
    if not isinstance(about, Mapping):
        raise RequestError([Fault("case", "must be an object")])
    try:
        told: Json = _HistorySchema().load(dict(about))
    except ValidationError as error:
        raise RequestError(flatten(error.messages)) from None
    told_apart = told.get("imported_as") or f"{about['number']} {about['opened_at']}"
    mark = sha256(told_apart.encode()).hexdigest()  # of any form, so its digest
    if _is_there(book.database, mark, about, told["at"]):
        return None
    history = [replace(one, case=diagnose_case(book.engine, one.case, one.sent))
               for one in _edits(book, about, told)]  # fmt: skip
    for number in _numbers(about):
        numbered = [replace(one, case=replace(one.case, number=number)) for one in history]
        try:
            return book.database.write(partial(_write, book=book, history=numbered, mark=mark))
        except IntegrityError:  # the number is taken, or another import was first
            if _is_there(book.database, mark, about, told["at"]):
                return None
    raise RuntimeError("no free case number was drawn")


def _is_there(database: Database, mark: str, about: Json, at: datetime) -> bool:
    """Return whether a case has this mark, or is the very one that was exported here."""
    digits = str(about.get("number", "")).replace(" ", "")
    same = and_(CaseRow.number == digits, CaseRow.opened_at == at)
    with database.reading() as session:
        wanted = or_(CaseRow.imported_as == mark, same)
        return session.scalar(select(CaseRow.order).where(wanted)) is not None


def _edits(book: Book, about: Json, told: Json) -> Iterator[Edit]:
    """Give the opening and the closing of a case, with the times and names that they had."""
    body = {name: value for name, value in about.items() if name in _OPENING}
    body["findings"] = [
        {key: value for key, value in one.items() if key not in _BESIDE}
        for one in about.get("findings", ())
    ]
    opened = edits.opened(body, numbers.SHOWN, told["by"], told["at"])
    found = tuple(map(_dated, opened.case.findings, told["findings"]))
    opened = replace(opened, case=replace(opened.case, findings=found))
    yield opened
    if told["outcome"] is not None:
        by, at = told["outcome"]["by"], told["outcome"]["at"]
        body = {name: about["outcome"][name] for name in _OUTCOME if name in about["outcome"]}
        done = edits.closed(opened.case, body, book.knowledge, by, at)
        yield replace(done, case=replace(done.case, version=2, changed_at=at))


def _dated(one: CaseFinding, told: Json) -> CaseFinding:
    gone = told.get("withdrawn")
    withdrawn = Withdrawal(gone["by"], gone["at"], gone["because"]) if gone else None
    return replace(one, by=told.get("by", one.by), at=told.get("at", one.at), withdrawn=withdrawn)


def _numbers(about: Json) -> Iterator[str]:
    """Give the number that the case had, then others for where that one is taken."""
    with suppress(numbers.NotANumberError):
        yield numbers.read(str(about.get("number", "")))
    for _ in range(20):
        yield numbers.draw()


def _write(session: Session, book: Book, history: list[Edit], mark: str) -> Case:
    last = history[-1].case
    about = {"imported_as": mark, "learn": IMPORTED}
    order = add_case(session.connection(), last, book.knowledge, **about)
    for one in history:
        by = one.case.outcome.by if one.case.outcome else one.case.opened_by
        write_step(session, order, one, by)
    return last
