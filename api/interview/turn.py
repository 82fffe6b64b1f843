"""What goes out of the interview: blocks of text, what is asked, whether to save or to end."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from api.answers.text import Line
from api.interview.state import InterviewState

BlockKind = Literal["caution", "text", "belief", "question", "page", "error"]
PromptKind = Literal["choice", "reading", "number", "text"]
MIN_WIDTH, MAX_WIDTH = 20, 88


@dataclass(frozen=True)
class Block:
    """A few lines that belong together; a caution is kind ``caution`` and nothing else is."""

    kind: BlockKind
    lines: tuple[Line, ...]
    title: str = ""


@dataclass(frozen=True)
class Choice:
    """One answer that can be chosen: the digit to type, its words, what is recorded."""

    key: str
    words: str
    value: Any


@dataclass(frozen=True)
class Prompt:
    """What is asked: how to answer it, and for a choice the answers there are."""

    kind: PromptKind
    options: tuple[Choice, ...] = ()
    unit: str = ""
    hint: str = ""
    unsure: bool = True
    empty: bool = False


@dataclass(frozen=True)
class Turn:
    """The answer to one line: the new state, what to show, and whether the line was refused.

    ``save`` asks to say where all is kept, and for the work order in the file that it names.
    """

    state: InterviewState
    blocks: tuple[Block, ...] = ()
    bad: bool = False
    save: str | None = None
    quit: bool = False


def text(*lines: str, title: str = "") -> Block:
    """Return a plain block of sentences."""
    return Block("text", tuple(Line(line) for line in lines), title)


def error(*lines: str) -> Block:
    """Return what was wrong with a line that was typed."""
    return Block("error", tuple(Line(line) for line in lines))


def render(blocks: Iterable[Block], width: int) -> list[list[str]]:
    """Return the lines of each block, broken to ``width`` columns, an empty line before each."""
    width = max(MIN_WIDTH, min(width, MAX_WIDTH))
    return [["", *map(printable, _lines(block, width))] for block in blocks]


def printable(text: str) -> str:
    """Return a text without signs that would steer a terminal; a file may hold any."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def as_text(blocks: Sequence[Block], width: int) -> str:
    """Return the blocks as one text."""
    return "\n".join(line for lines in render(blocks, width) for line in lines)


def _lines(block: Block, width: int) -> list[str]:
    mark = {"caution": "! ", "error": "? "}.get(block.kind, "")
    lines = _title(block, mark, width)
    for line in block.lines:
        lines += [mark + row for row in line.wrapped(width - len(mark)).split("\n")]
    return lines


def _title(block: Block, mark: str, width: int) -> list[str]:
    if not block.title:
        return []
    rows = textwrap.wrap(block.title, width - len(mark), break_on_hyphens=False)
    if mark:
        return [mark + row for row in rows]
    # a page to read is underlined; at a step each line counts on a small screen
    return [*rows, "-" * max(map(len, rows))] if block.kind == "page" else rows
