"""One function over all closed cases: here, in several processes, or on a Dask cluster."""

from collections import deque
from collections.abc import Iterable, Iterator
from functools import partial
from typing import Any

from api.answers.batch import AHEAD, groups, in_order
from api.cases.case import Case
from api.cases.replay.rescore import Row, rescore
from api.service import Engine
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
    with client:  # some more groups go out than there are workers; the rows come in order
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
