"""One function over all closed cases: here, in several processes, or on a Dask cluster.

The store is read page by page: memory does not grow with the history.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import Any, TypeVar

from sqlalchemy import func, select

from api.answers.batch import AHEAD, groups, in_order
from api.cases.case import CLOSED, Case
from api.cases.lists import Wanted, narrowed
from api.cases.replay.rescore import Row, rescore
from api.cases.rows import case_of
from api.service import Engine
from api.store import Database
from api.store.models import CaseRow
from engine import Diagnoser, Knowledge
from engine.diagnosis import diagnoser_of

CONNECT_SECONDS = 10  # that a scheduler has to answer
_engines: dict[str, Engine] = {}  # of a worker process, by version of the knowledge base


class ClusterError(Exception):
    """The cluster cannot be reached, or the library that speaks to it is not installed."""


def here(knowledge: Knowledge, cases: Iterable[Case]) -> Iterator[Row]:
    """Yield a row for each case, worked out in this process."""
    engine = diagnoser_of(knowledge)
    return (rescore(engine, case) for case in cases)


def in_processes(knowledge: Knowledge, cases: Iterable[Case], jobs: int) -> Iterator[Row]:
    """Yield the same rows, worked out in ``jobs`` processes. Raises WorkerLostError."""
    work = partial(_group_of, knowledge.version)
    return in_order(work, cases, jobs, partial(_prepare, knowledge))


def on_dask(knowledge: Knowledge, cases: Iterable[Case], address: str) -> Iterator[Row]:
    """Yield the same rows, worked out by the workers of a Dask scheduler.

    The knowledge base goes to each worker once; no file of this machine is needed there, but the
    same threewire is. Raises ClusterError.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError("Dask is not installed: pip install '.[dask]' in its checkout") from None
    try:
        client: Any = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise ClusterError(
            f"{address}: no Dask scheduler answers ({type(error).__name__})"
        ) from None
    with client:
        yield from _by(client, knowledge, cases)


def _by(client: Any, knowledge: Knowledge, cases: Iterable[Case]) -> Iterator[Row]:
    """Hand groups out, some more than there are workers, and take the rows in order."""
    shared = client.scatter(knowledge, broadcast=True)
    most = AHEAD * max(1, sum(client.ncores().values()))
    waiting: deque[Any] = deque()
    for group in groups(cases):
        waiting.append(client.submit(_group, shared, group, pure=False))
        if len(waiting) >= most:
            yield from waiting.popleft().result()
    while waiting:
        yield from waiting.popleft().result()


def _prepare(knowledge: Knowledge) -> None:
    _engines[knowledge.version] = Diagnoser(knowledge)


def _group(knowledge: Knowledge, cases: list[Case]) -> list[Row]:
    """Return the rows of some cases; a worker builds its engine once for each knowledge base."""
    if knowledge.version not in _engines:
        _engines.clear()
        _prepare(knowledge)
    return _group_of(knowledge.version, cases)


def _group_of(version: str, cases: list[Case]) -> list[Row]:
    return [rescore(_engines[version], case) for case in cases]


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
