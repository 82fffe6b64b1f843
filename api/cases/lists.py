"""Lists of cases: filters, and pages that stay right while cases are opened in between.

The newest case comes first. A page ends at a case; the next one starts behind that case, wherever
it stands by then. Cases opened meanwhile are in front of the first page, where nobody looks twice.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, lazyload

from api.cases import texts
from api.cases.case import CLOSED, OPEN, Case, CaseEntry, CasePage
from api.cases.rows import case_of, entry_of
from api.store import Database
from api.store.models import CaseRow
from engine import Fault, RequestError

STATES = (OPEN, CLOSED)
MOST = 200
DEFAULT = 50
TEXT = 200
_MOST_TYPED = {"fleet_number": 40, "reference": 80, "text": TEXT}
PAGE = 200  # of an export or a replay
_Made = TypeVar("_Made")


@dataclass(frozen=True)
class Wanted:
    """Which cases a list has; None is all.

    ``text`` is words that all stand somewhere in the case; the others are the whole of what they
    name.
    """

    state: str | None = None
    fleet_number: str | None = None
    text: str | None = None
    reference: str | None = None


EVERY = Wanted()


def listed(session: Session, wanted: Wanted, cursor: str | None, limit: int) -> CasePage:
    """Return one page of cases and the cursor of the next. Raises RequestError naming faults."""
    typed = {name: getattr(wanted, name) or "" for name in _MOST_TYPED}
    told = {name: texts.fault_of(typed[name], most) for name, most in _MOST_TYPED.items()}
    if faults := [Fault(name, fault) for name, fault in told.items() if fault]:
        raise RequestError(faults)
    query = narrowed(select(CaseRow).options(lazyload(CaseRow.findings)), wanted)
    query = query.order_by(CaseRow.order.desc())
    if cursor is not None:
        query = query.where(CaseRow.order < _last(session, cursor))
    rows = list(session.scalars(query.limit(limit + 1)))
    cases = tuple(entry_of(row) for row in rows[:limit])
    return CasePage(cases, cases[-1].number if len(rows) > limit else None)


def _last(session: Session, cursor: str) -> int:
    """Return the order of the case at which a page ended: its number is the cursor."""
    there = select(CaseRow.order).where(CaseRow.number == cursor)
    found = session.scalar(there) if cursor.isascii() and cursor.isdecimal() else None
    if found is None:
        raise RequestError([Fault("cursor", "is not one that a list gave; start without it")])
    return found


def due(session: Session, by: str, limit: int) -> tuple[CaseEntry, ...]:
    """Return the open cases whose caller waits to be called back by a moment, longest first.

    ``by`` is in UTC, to the second, as call_back_at is kept.
    """
    waits = (CaseRow.state == OPEN, CaseRow.call_back_at != "", CaseRow.call_back_at <= by)
    query = select(CaseRow).options(lazyload(CaseRow.findings)).where(*waits)
    rows = session.scalars(query.order_by(CaseRow.call_back_at, CaseRow.order).limit(limit))
    return tuple(map(entry_of, rows))


def narrowed(query: Select[Any], wanted: Wanted) -> Select[Any]:
    """Return a query of case rows that finds only those which are wanted."""
    if wanted.state is not None:
        query = query.where(CaseRow.state == wanted.state)
    if wanted.fleet_number is not None:
        query = query.where(CaseRow.fleet_number == wanted.fleet_number)
    if wanted.reference is not None:
        query = query.where(CaseRow.reference == wanted.reference)
    for word in (wanted.text or "").casefold().split():
        query = query.where(CaseRow.search.contains(word, autoescape=True))
    return query


def closed_cases(database: Database) -> Iterator[Case]:
    """Yield each case that is closed, in the order in which they were opened."""
    return each_case(database, case_of, Wanted(CLOSED))


def each_case(
    database: Database, make: Callable[[CaseRow], _Made], wanted: Wanted = EVERY
) -> Iterator[_Made]:
    """Yield what ``make`` makes of each case, in the order in which they were opened.

    Each page is a short transaction of its own, so a long run holds up nobody and memory does not
    grow with the history; cases opened after it began are left out. Raises StoreUnavailableError.
    """
    with database.reading() as session:
        last = session.scalar(select(func.max(CaseRow.order))) or 0
    query = narrowed(select(CaseRow), wanted).where(CaseRow.order <= last).order_by(CaseRow.order)
    done = 0
    while True:
        with database.reading() as session:
            rows = session.scalars(query.where(CaseRow.order > done).limit(PAGE)).all()
            page = [make(row) for row in rows]
        if not page:
            return
        yield from page
        done = rows[-1].order
