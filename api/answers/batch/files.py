"""A file of requests, one a line, answered in this process or in several."""

from collections.abc import Iterable, Iterator
from functools import partial

from api.answers.batch.lines import answer_line
from api.answers.batch.spread import in_order
from api.service import Engine
from engine import Diagnoser, Knowledge

Numbered = tuple[int, bytes]
_BYTES_AS_ONE = 16 * 1024  # a line of so many bytes counts as one more in its group
_engine: list[Engine] = []  # of a worker process


def answers(knowledge: Knowledge, lines: Iterable[bytes], jobs: int) -> Iterator[tuple[bool, str]]:
    """Yield for each line whether it was good, and the line that answers it.

    The answers are the same bytes whatever ``jobs`` is. Raises WorkerLostError.
    """
    numbered = enumerate(lines, start=1)
    if jobs == 1:  # answers one by one: somebody may wait for each before sending the next
        engine = Diagnoser(knowledge)
        return (answer_line(engine, number, raw) for number, raw in numbered)
    return in_order(_answer_group, numbered, jobs, partial(_prepare, knowledge), _weight)


def _weight(line: Numbered) -> int:
    return 1 + len(line[1]) // _BYTES_AS_ONE


def _prepare(knowledge: Knowledge) -> None:
    _engine[:] = [Diagnoser(knowledge)]


def _answer_group(group: list[Numbered]) -> list[tuple[bool, str]]:
    return [answer_line(_engine[0], number, raw) for number, raw in group]
