"""Many requests, one a line (NDJSON): one answer a line, in the same order, in flat memory.

From bytes as they come to lines, and from a line to the text that answers it; a file of lines in
this process or in several.
"""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeVar

from api import strict_json
from api.answers import answering, problems
from api.answers.answering import MAX_BYTES
from api.strict_json import JsonObject
from engine import Diagnoser, Knowledge
from engine.diagnosis import diagnoser_of

if TYPE_CHECKING:  # a command has no use for what it imports
    from api.service import Engine

MEDIA_TYPE = "application/x-ndjson"
# A little over what is taken is kept of a long line, so that it is seen to be too long.
_KEPT = MAX_BYTES + 2


def split(read: Callable[[int], bytes], block: int) -> Iterator[bytes]:
    """Yield lines without their line end, however the bytes come; a last one needs no line feed.

    ``read`` returns at most so many bytes and none at the end. Of a line that is too long only the
    beginning is kept, so memory is bounded whatever is sent.
    """
    held = b""
    while piece := read(block):
        *whole, rest = piece.split(b"\n")
        for part in whole:
            yield (held + part)[:_KEPT].rstrip(b"\r")
            held = b""
        held = held if len(held) == _KEPT else (held + rest)[:_KEPT]
    if held:
        yield held.rstrip(b"\r")


def answer_line(
    engine: "Engine", number: int, raw: bytes, failed: Callable[[Exception], None] | None = None
) -> tuple[bool, str]:
    """Return whether line ``number`` (from 1) was good, and its answer or problem as a line.

    One bad line does not end the others: not even one at which threewire itself fails, of which
    ``failed`` is told.
    """
    try:
        status, document = answering.answer(engine, raw)
    except Exception as error:
        if failed:
            failed(error)
        status, document = 500, problems.document(500)
    return status == 200, strict_json.dumps(document if status == 200 else at(number, document))


def at(number: int, document: JsonObject) -> JsonObject:
    """Return a problem document that names its line, counted from 1."""
    return document | {"line": number}


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
    work: Callable[[list[_Item]], list[_Result]], items: Iterable[_Item], jobs: int,
    prepare: Callable[[], None],
) -> Iterator[_Result]:  # fmt: skip
    """Yield what ``work`` makes of the items, in their order, worked out in ``jobs`` processes.

    ``prepare`` runs once in each process. Raises WorkerLostError when a process is lost.
    """
    context = multiprocessing.get_context("spawn")  # threads and fork do not go together
    pool = ProcessPoolExecutor(jobs, context, initializer=_begin, initargs=(prepare,))
    waiting: deque[Future[list[_Result]]] = deque()
    try:
        for group in groups(items):
            waiting.append(pool.submit(work, group))
            if len(waiting) >= jobs * AHEAD:
                yield from waiting.popleft().result()
        while waiting:
            yield from waiting.popleft().result()
    except BrokenProcessPool:
        raise WorkerLostError from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def groups(items: Iterable[_Item]) -> Iterator[list[_Item]]:
    """Yield the items in lists of ``GROUP``."""
    rest = iter(items)
    while group := list(islice(rest, GROUP)):
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


_engine: list["Engine"] = []  # of a worker process


def answers(knowledge: Knowledge, lines: Iterable[bytes], jobs: int) -> Iterator[tuple[bool, str]]:
    """Yield for each line whether it was good, and the line that answers it.

    The answers are the same bytes whatever ``jobs`` is. Raises WorkerLostError.
    """
    numbered = enumerate(lines, start=1)
    if jobs == 1:  # answers one by one: somebody may wait for each before sending the next
        engine = diagnoser_of(knowledge)
        return (answer_line(engine, number, raw) for number, raw in numbered)
    return in_order(_answer_group, numbered, jobs, partial(_prepare, knowledge))


def _prepare(knowledge: Knowledge) -> None:
    _engine[:] = [Diagnoser(knowledge)]


def _answer_group(group: list[tuple[int, bytes]]) -> list[tuple[bool, str]]:
    return [answer_line(_engine[0], number, raw) for number, raw in group]
