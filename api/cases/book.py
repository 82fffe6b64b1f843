"""The case book: every reading and every step of a case, over one store and one engine.

A step is worked out beside the store: the case is read at a version, the engine asked, and the
result written only if the case still has that version, else again. So nobody waits for a diagnosis,
and what two people add at once is merged. A case that is written to without pause is held at last,
so that everybody gets through.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from typing import Any

from sqlalchemy import Row, Select, bindparam, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.cases import edits, lists, numbers, texts
from api.cases.case import (
    CLOSED,
    Case,
    CaseDiagnosis,
    CaseEntry,
    CasePage,
    CaseStep,
    NoSuchCase,
    NoSuchPhoto,
    StaleCase,
)
from api.cases.diagnosis import diagnose_case, diagnosed
from api.cases.edits import Edit
from api.cases.events import outbox
from api.cases.idempotency import Also
from api.cases.learning import LearningDiagnoser
from api.cases.photos import Photo, keeping
from api.cases.rows import (
    CASES,
    STEPS,
    add_case,
    change_case,
    keep,
    kept,
    made_with,
    read_case,
    step_of,
)
from api.cases.work_order import WorkOrder, work_order
from api.service import Engine, Service
from api.store import Database, StoreUnavailableError
from api.store.models import BY, CasePhoto, CaseRow
from api.strict_json import Json
from engine import Fault, Knowledge, RequestError

DRAWS = 20
FREE_TRIES = 5  # beside the store; then the case is held while the engine is asked
_CASE = select(CASES).where(CASES.c.number == bindparam("digits"))
_HELD = _CASE.with_for_update()
_ITS_VERSION = _CASE.with_only_columns(CASES.c.order, CASES.c.version)
_STEPS = (
    select(STEPS).where(STEPS.c.case_order == bindparam("of"), STEPS.c.version > bindparam("since"))
    .order_by(STEPS.c.version)
)  # fmt: skip
_SAID = _STEPS.with_only_columns(STEPS.c.diagnosis)


class _OvertakenError(Exception):
    """Somebody wrote to the case while the engine was asked."""


def utc_now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


class Book:
    """Reads and writes cases; safe to share between threads.

    ``also`` of a writing method is called inside its transaction with the session and the case
    that it will return; what it raises undoes the step. Every method raises NoSuchCase where there
    is no such number, RequestError with paths into what was sent, and StoreUnavailableError.
    ``expected`` is the version that the caller has seen: StaleCase when there is a newer one.
    """

    def __init__(
        self, database: Database, engine: Engine, knowledge: Knowledge, *,
        now: Callable[[], datetime] = utc_now, draw: Callable[[], str] = numbers.draw,
    ) -> None:  # fmt: skip
        self.database, self.engine, self.knowledge = database, engine, knowledge
        self._now, self._draw = now, draw

    @classmethod
    def of(cls, service: Service) -> "Book":
        """Return the book of a service. Raises LookupError when the service keeps nothing."""
        if service.database is None:
            raise LookupError("the service has no store; the setting 'database' names one")
        if "book" not in service.cache:
            service.cache["book"] = cls(service.database, service.engine, service.knowledge)
        kept: Book = service.cache["book"]
        return kept

    def open(self, data: Mapping[str, Any], by: str, also: Also | None = None) -> Case:
        """Open a case."""
        _check_by(by)
        edit = edits.opened(data, "", by, self._now())
        case = diagnose_case(self.engine, edit.case, edit.sent)
        for _ in range(DRAWS):
            numbered = replace(edit, case=replace(case, number=self._draw()))
            write = partial(self._write_new, edit=numbered, by=by, also=also)
            with suppress(IntegrityError):  # a number that is taken is drawn again
                return self.database.write(write)
        raise RuntimeError(f"no free case number was drawn in {DRAWS} tries")

    def get(self, number: str) -> Case:
        """Return the case as it stands, without its diagnosis."""
        with self.database.reading() as session:
            return read_case(session.connection(), self._row(session, number))

    def diagnosed(self, number: str, side: str | None = None) -> Case:
        """Return the case with its diagnosis: the kept one, where it is still what would be said.

        Else the engine is asked, and what it says is kept; so too of ``side``, the one of two that
        is looked at, where nothing was found on it yet.
        """
        return self.followed(number, side, latest=0).case

    def followed(
        self, number: str, side: str | None, latest: int, made: Case | None = None
    ) -> "FollowedCase":
        """Return the case as ``diagnosed`` does, with what was said at its ``latest`` steps.

        ``made`` is what a step has just made of it: not read again, unless it is older by now.
        """
        with_ = self._made_with()
        with self.database.reading() as session:
            row = self._row(session, number, _ITS_VERSION if made else _CASE)
            fresh = made if made and made.diagnosis and made.version == row.version else None
            if made and not fresh:
                row = self._row(session, number)
            store = session.connection()
            found = fresh or read_case(store, row, kept(store, row.order, row.version, with_))
            before = kept(store, row.order, row.version - 1, with_) if latest else None
            moments = self._moments(session, row, latest)
        return FollowedCase(self._asked(found, row.order, side), before, moments)

    def _asked(self, case: Case, order: int, side: str | None) -> Case:
        """Return the case with its diagnosis; the engine is asked where none is kept."""
        found = case.diagnosis
        asked = replace(case, diagnosis=found or diagnosed(self.engine, case))
        if side and asked.diagnosis and asked.diagnosis.of_side(side) is None:
            other = diagnosed(self.engine, case.of_side(side))
            asked = replace(case, diagnosis=replace(asked.diagnosis, other=other))
        if asked.diagnosis is not None and asked.diagnosis is not found:
            keeping_it = partial(keep, order=order, version=case.version, found=asked.diagnosis)
            with suppress(IntegrityError, StoreUnavailableError):  # somebody else may have kept it
                self.database.write(lambda session: keeping_it(session.connection()))
        return asked

    def list(
        self, *, cursor: str | None = None, limit: int = lists.DEFAULT, **filters: str | None
    ) -> CasePage:  # fmt: skip
        """Return one page of cases without their findings, newest first.

        ``filters`` are the fields of lists.Wanted.
        """
        with self.database.reading() as session:
            return lists.listed(session, lists.Wanted(**filters), cursor, limit)

    def due(self, limit: int = lists.DEFAULT) -> tuple[CaseEntry, ...]:
        """Return the open cases whose caller is to be called back by now, longest first."""
        now = self._now().strftime("%Y-%m-%dT%H:%M:%SZ")
        with self.database.reading() as session:
            return lists.due(session, now, limit)

    def add_findings(  # noqa: PLR0913, PLR0917 - as withdraw
        self, number: str | Case, findings: Sequence[Any], by: str, expected: int | None = None,
        also: Also | None = None, photo: Photo | None = None,
    ) -> Case:  # fmt: skip
        """Add findings behind those that are there; a photo is of the first. Raises ClosedCase.

        ``number`` may be the case as the caller has just read it, which spares reading it again.
        """
        return self._step(
            number, by, expected, keeping(photo, also),
            lambda case, at: edits.findings_added(case, findings, by, at, photo),
        )  # fmt: skip

    def withdraw(  # noqa: PLR0913, PLR0917 - the desk and the API name them alike
        self, number: str, place: int, by: str, because: str = "", expected: int | None = None,
        also: Also | None = None,
    ) -> Case:  # fmt: skip
        """Withdraw one finding; it stays and counts no more. Raises ClosedCase, NoSuchFinding."""
        return self._step(
            number, by, expected, also,
            lambda case, at: edits.withdrawn(case, place, by, because, at),
        )  # fmt: skip

    def replace_finding(  # noqa: PLR0913, PLR0917 - as withdraw
        self, number: str | Case, place: int, finding: Any, by: str, expected: int | None = None,
        also: Also | None = None, photo: Photo | None = None,
    ) -> Case:  # fmt: skip
        """Withdraw one finding and add another for it, in one step. Raises as ``withdraw``.

        ``number`` as of ``add_findings``.
        """
        return self._step(
            number, by, expected, keeping(photo, also),
            lambda case, at: edits.replaced(case, place, finding, by, at, photo),
        )  # fmt: skip

    def restore(
        self, number: str, place: int, by: str, expected: int | None = None,
        also: Also | None = None,
    ) -> Case:  # fmt: skip
        """Let a withdrawn finding count again, and not what replaced it. Raises as ``withdraw``."""
        instead = [
            one.changed["findings"][0]["place"] for one in self.steps(number)
            if one.changed.get("replaces") == place and not one.changed.get("restored")
        ]  # fmt: skip
        last = instead[-1] if instead else None
        return self._step(
            number, by, expected, also, lambda case, at: edits.restored(case, place, last, by, at)
        )

    def change(
        self, number: str, changes: Mapping[str, Any], by: str, expected: int | None,
        also: Also | None = None,
    ) -> Case:  # fmt: skip
        """Merge changes into texts, machine and settings; None clears. Raises ClosedCase."""
        return self._step(number, by, expected, also, lambda case, _: edits.changed(case, changes))

    def close(
        self, number: str, outcome: Mapping[str, Any], by: str, expected: int | None,
        also: Also | None = None,
    ) -> Case:  # fmt: skip
        """Close the case with ``cause``, ``replaced``, ``minutes``, ``note``. Raises ClosedCase."""
        return self._step(
            number, by, expected, also,
            lambda case, at: edits.closed(case, outcome, self.knowledge, by, at),
        )  # fmt: skip

    def reopen(
        self, number: str, because: str, by: str, expected: int | None = None,
        also: Also | None = None,
    ) -> Case:  # fmt: skip
        """Open a closed case again. Raises OpenCase."""
        return self._step(number, by, expected, also, lambda case, _: edits.reopened(case, because))

    def diagnosis(self, number: str) -> Json:
        """Return the engine's whole answer on the case as it stands."""
        return self.diagnosed(number).shown_diagnosis().to_dict()

    def work_order(self, number: str) -> WorkOrder:
        """Return the case as a work order, with the present diagnosis."""
        return work_order(self.diagnosed(number), self.knowledge)

    def review(self, counts: str, number: str | None = None, key: str | None = None) -> None:
        """Keep an administrator's word on what is learned from: a case, or all that a key closed.

        ``counts`` is 'yes', 'no' or 'auto'. Raises RequestError where it is about no closed case.
        """
        try:
            digits = self.get(number).number if number is not None else None
        except NoSuchCase as error:
            raise RequestError([Fault("number", str(error))]) from None
        which = CaseRow.number == digits if digits else CaseRow.closed_key == key
        about = update(CaseRow).where(which, CaseRow.state == CLOSED)
        word = about.values(learn="" if counts == "auto" else counts).returning(CaseRow.order)
        if not self.database.write(lambda session: session.scalars(word).all()):
            name = "number" if digits else "key"
            raise RequestError([Fault(name, "names no closed case")])

    def photo(self, number: str, name: str) -> bytes:
        """Return a photo of a case, JPEG. Raises NoSuchPhoto."""
        query = select(CasePhoto.body).join(CaseRow, CaseRow.order == CasePhoto.case_order)
        wanted = CaseRow.number == self.get(number).number, CasePhoto.name == name
        with self.database.reading() as session:
            found = session.scalar(query.where(*wanted))
        if found is None:
            raise NoSuchPhoto("This case has no such photo.")
        return found

    def steps(self, number: str, since: int = 0) -> Sequence[CaseStep]:
        """Return the steps after version ``since``, oldest first."""
        with self.database.reading() as session:
            return self._steps(session, self._row(session, number), since)

    def events(self, after: int, limit: int) -> outbox.EventPage:
        """Return what happened to all cases behind event ``after``, in its order."""
        with self.database.reading() as session:
            return outbox.page(session, self.knowledge, after, limit)

    def _made_with(self) -> str:
        engine = self.engine
        present = engine.present() if isinstance(engine, LearningDiagnoser) else self
        return made_with(present.knowledge.version)

    def _row(self, session: Session, number: str, query: Select[Any] = _CASE) -> Row[Any]:
        """Return the case's row as ``query`` reads it.

        Raises NoSuchCase that tells a slip and what it may have been.
        """
        try:
            digits = numbers.read(number)
        except numbers.NotANumberError as error:
            near = numbers.neighbours(error.digits) if error.slip else []
            there = select(CaseRow.number).where(CaseRow.number.in_(near))
            shown = sorted(map(numbers.show, session.scalars(there))) if near else []
            raise NoSuchCase(str(error), error.slip, shown) from None
        row = session.connection().execute(query, {"digits": digits}).one_or_none()
        if row is None:
            raise NoSuchCase(f"There is no case {numbers.show(digits)}.")
        return row

    def _steps(self, session: Session, row: Row[Any], since: int) -> Sequence[CaseStep]:
        if since >= row.version:
            return []
        found = session.connection().execute(_STEPS, {"of": row.order, "since": since})
        return [step_of(one, self.knowledge) for one in found]

    def _moments(self, session: Session, row: Row[Any], latest: int) -> Sequence[Json]:
        """Return what the engine said at each of the latest steps, oldest first."""
        if not latest:
            return []
        behind = {"of": row.order, "since": row.version - latest}
        return [said or {} for (said,) in session.connection().execute(_SAID, behind)]

    def _step(
        self, number: str | Case, by: str, expected: int | None, also: Also | None,
        edit: "Editing",
    ) -> Case:  # fmt: skip
        """Take a step; a case that was read by the caller is taken as it is, till overtaken."""
        _check_by(by)
        known, number = (number, number.number) if isinstance(number, Case) else (None, number)
        for _ in range(FREE_TRIES):
            if known is not None and expected in (None, known.version):
                case, known = known, None
            else:
                with self.database.reading() as session:
                    case = self._seen(session, number, expected)
            done = self._edited(case, edit)
            if done is None:
                return case
            write = partial(self._write, number=number, edit=done, by=by, also=also)
            with suppress(_OvertakenError):
                return self.database.write(write)

        def held(session: Session) -> Case:
            case = self._seen(session, number, expected, _HELD)
            done = self._edited(case, edit)
            return case if done is None else self._write(session, number, done, by, also)

        return self.database.write(held)

    def _seen(
        self, session: Session, number: str, expected: int | None, query: Select[Any] = _CASE
    ) -> Case:
        row = self._row(session, number, query)
        case = read_case(session.connection(), row)
        if expected not in (None, row.version):
            since = expected if 0 < expected < row.version else 0
            raise StaleCase(case, self._steps(session, row, since))
        return case

    def _edited(self, case: Case, edit: "Editing") -> Edit | None:
        """Return the next version with its diagnosis; None when nothing changes."""
        at = max(case.changed_at, self._now())  # the clock may step back; versions do not
        done = edit(case, at)
        if done is None:
            return None
        after = replace(done.case, version=case.version + 1, changed_at=at)
        return replace(done, case=diagnose_case(self.engine, after, done.sent))

    def _write_new(self, session: Session, edit: Edit, by: str, also: Also | None) -> Case:
        order = add_case(session.connection(), edit.case, self.knowledge)
        return self._finish(session, order, edit, by, also)

    def _write(self, session: Session, number: str, edit: Edit, by: str, also: Also | None) -> Case:
        row = self._row(session, number, _HELD)
        if row.version != edit.case.version - 1:
            raise _OvertakenError
        change_case(session.connection(), row, edit.case, self.knowledge)
        return self._finish(session, row.order, edit, by, also)

    def _finish(self, session: Session, order: int, edit: Edit, by: str, also: Also | None) -> Case:
        """Add step, diagnosis and event, and let the caller add what belongs to it."""
        write_step(session, order, edit, by)
        kind, data = outbox.EVENTS[edit.kind], outbox.EventData(edit.case, by, edit.changed)
        outbox.enqueue(session, kind, data, self._now())
        if also is not None:
            also(session, edit.case)
        return edit.case


Editing = Callable[[Case, datetime], Edit | None]


@dataclass(frozen=True)
class FollowedCase:
    """A case with its diagnosis, and the one of the version before where it is kept."""

    case: Case
    before: CaseDiagnosis | None
    moments: Sequence[Json]  # what was said at each of the latest steps, oldest first


def write_step(session: Session, order: int, edit: Edit, by: str) -> None:
    """Add a step and its diagnosis."""
    case, store = edit.case, session.connection()
    outbox.wait_in_line(session)
    store.execute(STEPS.insert(), {
        "case_order": order, "version": case.version, "kind": edit.kind, "by": by,
        "at": case.changed_at, "body": edit.changed, "diagnosis": case.leading,
    })  # fmt: skip
    if case.diagnosis is not None:
        keep(store, order, case.version, case.diagnosis)


def _check_by(by: str) -> None:
    fault = texts.fault_of(by, BY)
    if fault:
        raise RequestError([Fault("by", fault)])
