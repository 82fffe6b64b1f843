"""Blocks as lines of text for any width. Plain ASCII, no colour."""

import textwrap
from collections.abc import Iterable, Sequence

from api.interview.turn import Block

MIN_WIDTH, MAX_WIDTH = 20, 88


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
