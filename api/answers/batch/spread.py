"""The same work on many items in several processes: results in order, memory bounded."""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")
GROUP = 16  # items that go to a process at once: the hand-over costs about as much as one
AHEAD = 3  # groups that are read ahead for each process


class WorkerLostError(Exception):
    """A worker process ended before its work was done."""

    def __init__(self) -> None:
        super().__init__(
            "a worker process was ended from outside (killed, or out of memory); what was "
            "written so far is right, the rest is missing"
        )


def in_order(
    work: Callable[[list[_Item]], list[_Result]],
    items: Iterable[_Item],
    jobs: int,
    prepare: Callable[[], None],
    weigh: Callable[[_Item], int] = lambda _: 1,
) -> Iterator[_Result]:
    """Yield what ``work`` makes of the items, in their order, worked out in ``jobs`` processes.

    ``prepare`` runs once in each process. An item counts for ``weigh(item)`` of the
    ``GROUP`` that go out at once. Raises WorkerLostError when a process is lost.
    """
    context = multiprocessing.get_context("spawn")  # threads and fork do not go together
    pool = ProcessPoolExecutor(jobs, context, initializer=_begin, initargs=(prepare,))
    waiting: deque[Future[list[_Result]]] = deque()
    try:
        for group in groups(items, weigh):
            waiting.append(pool.submit(work, group))
            if len(waiting) >= jobs * AHEAD:
                yield from waiting.popleft().result()
        while waiting:
            yield from waiting.popleft().result()
    except BrokenProcessPool:
        raise WorkerLostError from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def groups(
    items: Iterable[_Item], weigh: Callable[[_Item], int] = lambda _: 1
) -> Iterator[list[_Item]]:
    """Yield the items in lists, each as soon as it weighs ``GROUP`` or more."""
    group: list[_Item] = []
    weight = 0
    for item in items:
        group.append(item)
        weight += weigh(item)
        if weight >= GROUP:
            yield group
            group, weight = [], 0
    if group:
        yield group


def _begin(prepare: Callable[[], None]) -> None:
    """Set a worker process up: it ends with its parent, and leaves Ctrl-C to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None  # this runs in a child
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    prepare()


def _end_with(parent: Any) -> None:
    """End this process when the parent is gone; its queues would wait for ever."""
    parent.join()
    os._exit(1)
