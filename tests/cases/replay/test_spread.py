"""The same rows come from this process, from two, and from a Dask cluster."""

import os
import signal
import socket
from collections.abc import Iterator
from itertools import count
from typing import Any

import psutil
import pytest

from api.answers import batch as groups
from api.answers.batch import WorkerLostError
from api.cases import Book
from api.cases.case import Case
from api.cases.lists import closed_cases
from api.cases.replay import spread
from engine import Knowledge, load_knowledge
from tests.curation.shop import Shop


@pytest.fixture
def newer(shop: Shop) -> Knowledge:
    """A base that holds relay contacts that stay open to be much more common."""
    shop.put("causes/relay-contacts-open.yaml", shop.like("causes", "relay-contacts-open") | {
        "share": 60,
    })  # fmt: skip
    return load_knowledge([shop.folder])


def _many(book: Book, times: int) -> list[Case]:
    """Return the history over and over: more groups than are read ahead."""
    return list(closed_cases(book.database)) * times


def test_a_change_of_the_base_is_seen(book: Book, newer: Knowledge) -> None:
    """The one case with that cause is better found; of the others none is."""
    rows = list(spread.here(newer, closed_cases(book.database)))
    better = [row.confirmed for row in rows if row.change == "better"]
    assert better == ["relay-contacts-open"]
    assert {row.after.knowledge_version for row in rows} == {newer.version}
    assert {row.before.knowledge_version for row in rows} == {book.knowledge.version}


@pytest.mark.live  # starts processes
def test_two_processes_give_the_same_rows(
    book: Book, newer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same rows in the same order."""
    monkeypatch.setattr(groups, "GROUP", 2)
    cases = _many(book, 3)
    assert len(cases) > 2 * groups.GROUP * groups.AHEAD
    assert list(spread.in_processes(newer, cases, 2)) == list(spread.here(newer, cases))


@pytest.mark.live  # starts processes
def test_a_process_that_is_killed_is_told(book: Book, newer: Knowledge) -> None:
    """A worker that the system ends gives an error in words, not a wait without end."""
    rows = spread.in_processes(newer, _many(book, 2000), 2)
    next(rows)
    for child in psutil.Process().children(recursive=True):
        if "spawn_main" in " ".join(child.cmdline()):
            os.kill(child.pid, signal.SIGKILL)
            break
    with pytest.raises(WorkerLostError, match="killed"):
        list(rows)


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A Dask cluster on this machine: two worker processes."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
    ) as running:  # fmt: skip
        yield running


@pytest.mark.live  # starts processes
@pytest.mark.filterwarnings("default")  # the library's own, on its way out
def test_dask_gives_the_same_rows(
    book: Book, newer: Knowledge, cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two worker processes of an existing engine give what one process gives, in order, and so
    many cases are read ahead as keep them busy; then they take another base, and do not answer
    from the one before."""
    monkeypatch.setattr(groups, "GROUP", 1)
    cases, read = _many(book, 3), count()
    address = cluster.scheduler_address
    rows = spread.on_dask(newer, (one for one in cases if next(read) >= 0), address)
    first = next(rows)
    assert next(read) == 2 * spread.AHEAD < len(cases)
    assert [first, *rows] == list(spread.here(newer, cases))
    assert list(spread.on_dask(book.knowledge, cases[:5], address)) == list(
        spread.here(book.knowledge, cases[:5])
    )


@pytest.mark.filterwarnings("default")
def test_a_cluster_that_is_away_is_told(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """An address where nothing answers is an error in words."""
    monkeypatch.setattr(spread, "CONNECT_SECONDS", 0.2)
    pytest.importorskip("distributed")
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    with pytest.raises(spread.ClusterError, match="no Dask scheduler"):
        list(spread.on_dask(book.knowledge, [], f"tcp://127.0.0.1:{port}"))
