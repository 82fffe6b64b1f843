"""The cases of a store, read page by page: memory does not grow with the history."""

from collections.abc import Callable, Iterator
from typing import TypeVar

from sqlalchemy import func, select

from api.cases.case import CLOSED, Case
from api.cases.lists import Wanted, narrowed
from api.cases.rows import case_of
from api.store import Database
from api.store.models import CaseRow

PAGE = 200
EVERY = Wanted()
_Made = TypeVar("_Made")


def closed_cases(database: Database) -> Iterator[Case]:
    """Yield each case that is closed, in the order in which they were opened."""
    return each_case(database, case_of, Wanted(CLOSED))


def each_case(
    database: Database, make: Callable[[CaseRow], _Made], wanted: Wanted = EVERY
) -> Iterator[_Made]:
    """Yield what ``make`` makes of each case, in the order in which they were opened.

    Each page is a short transaction of its own, so a long run holds up nobody; cases opened after
    it began are left out. Raises StoreUnavailableError.
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
