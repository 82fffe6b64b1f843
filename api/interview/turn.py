"""What goes out of the interview: blocks of text, what is asked, what the terminal shall do."""

from dataclasses import dataclass
from typing import Any, Literal

from api.answers.text import Line
from api.interview.state import State

BlockKind = Literal["caution", "text", "belief", "question", "page", "error"]
PromptKind = Literal["choice", "reading", "number", "text"]


@dataclass(frozen=True)
class Block:
    """A few lines that belong together; a caution is kind ``caution`` and nothing else is."""

    kind: BlockKind
    lines: tuple[Line, ...]
    title: str = ""


@dataclass(frozen=True)
class Option:
    """One answer that can be chosen: the digit to type, its words, what is recorded."""

    key: str
    words: str
    value: Any


@dataclass(frozen=True)
class Prompt:
    """What is asked: how to answer it, and for a choice the answers there are."""

    kind: PromptKind
    options: tuple[Option, ...] = ()
    unit: str = ""
    hint: str = ""
    unsure: bool = True
    empty: bool = False


@dataclass(frozen=True)
class Effect:
    """What the terminal is asked to do: say where all is kept, write the work order, or end."""

    kind: Literal["save", "quit"]
    path: str = ""


@dataclass(frozen=True)
class Turn:
    """The answer to one line: the new state, what to show, and whether the line was refused."""

    state: State
    blocks: tuple[Block, ...] = ()
    effects: tuple[Effect, ...] = ()
    bad: bool = False


def text(*lines: str, title: str = "") -> Block:
    """Return a plain block of sentences."""
    return Block("text", tuple(Line(line) for line in lines), title)


def error(*lines: str) -> Block:
    """Return what was wrong with a line that was typed."""
    return Block("error", tuple(Line(line) for line in lines))
