"""The closed cases, read page by page: memory does not grow with the history."""

from collections.abc import Iterator

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.cases.case import CLOSED, Case
from api.cases.rows import case_of
from api.store import Database
from api.store.models import CaseRow

PAGE = 200


def closed_cases(database: Database) -> Iterator[Case]:
    """Yield each case that is closed, in the order in which they were opened.

    Each page is a short transaction of its own, so a long run holds up nobody; cases opened after
    it began are left out. Raises StoreUnavailableError.
    """
    with database.reading() as session:
        last = session.scalar(select(func.max(CaseRow.order))) or 0
    done = 0
    while done < last:
        with database.reading() as session:
            page = _page(session, done, last)
        if not page:
            return
        yield from (case for _, case in page)
        done = page[-1][0]


def _page(session: Session, after: int, last: int) -> list[tuple[int, Case]]:
    query = (
        select(CaseRow)
        .where(CaseRow.state == CLOSED, CaseRow.order > after, CaseRow.order <= last)
        .order_by(CaseRow.order)
        .limit(PAGE)
    )
    return [(row.order, case_of(row)) for row in session.scalars(query)]
