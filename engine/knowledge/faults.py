"""Faults found in what people typed, and the exceptions that carry all of them at once."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum


class Code(StrEnum):
    """What kind of thing is wrong: what a program goes by, whatever the sentence says."""

    UNREADABLE = "unreadable"
    DUPLICATE_KEY = "duplicate-key"
    MISSING_KEY = "missing-key"
    MISSING_ITEM = "missing-item"
    UNKNOWN_KEY = "unknown-key"
    UNKNOWN_IDENTIFIER = "unknown-identifier"
    KEY_ORDER = "key-order"
    WRONG_TYPE = "wrong-type"
    OUT_OF_RANGE = "out-of-range"
    REFUSED = "refused"


class Message(str):
    """What is wrong, in words, with its code; ``about`` is the kind and the name of what it names.

    A plain text stands for ``refused``. It is text, so that it passes through marshmallow.
    """

    code: Code
    about: tuple[str, str]

    def __new__(cls, text: str, code: Code, about: tuple[str, str] = ("", "")) -> "Message":
        """Return the text with its code."""
        made = super().__new__(cls, text)
        made.code, made.about = code, about
        return made


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong: where it stands (a path such as ``findings[2].unit``) and what to do.

    In a file of knowledge ``path`` begins with the file, ``shop/causes/x.yaml: share``, and
    ``file`` names it. ``about`` is the kind and the name that an unknown identifier is about.
    """

    path: str
    message: str
    code: Code = field(default=Code.REFUSED, compare=False)
    about: tuple[str, str] = field(default=("", ""), compare=False)
    file: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if isinstance(self.message, Message):
            object.__setattr__(self, "code", self.message.code)
            object.__setattr__(self, "about", self.message.about)

    def __str__(self) -> str:
        return f"{self.path}: {self.message}" if self.path else self.message


def in_file(file: str, path: str, message: str, code: Code = Code.REFUSED) -> Fault:
    """Return a fault of a knowledge file; without a ``path`` it is one of the file as a whole."""
    return Fault(f"{file}: {path}" if path else file, message, code, file=file)


class FaultsError(Exception):
    """Base of the exceptions that carry every fault, sorted by place."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: list[Fault] = sorted(set(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class KnowledgeError(FaultsError):
    """The knowledge base cannot be used; each fault names file, item and field."""


class RequestError(FaultsError):
    """A request cannot be answered; each fault names its place in the request."""


FEW = 8  # so many names are listed whole


def nearest(word: object, known: Iterable[str]) -> str:
    """Return `` (did you mean 'x'?)`` for the known word closest to ``word``, or nothing."""
    matches = difflib.get_close_matches(str(word), list(known), n=1, cutoff=0.55)
    return f" (did you mean '{matches[0]}'?)" if matches else ""


def shortened(text: str) -> str:
    """Return a text in 60 characters at most."""
    return text if len(text) <= 60 else text[:57] + "..."


def unknown(kind: str, word: object, known: Iterable[str]) -> str:
    """Return the message for an identifier that does not exist.

    It names the nearest that does, or where none is near all there are if they are few.
    """
    text, there = str(word), list(known)
    shown = shortened(text)
    code = Code.UNKNOWN_KEY if kind == "key" else Code.UNKNOWN_IDENTIFIER
    hint = nearest(text[:100], there)
    if not hint and shown == text and 0 < len(there) <= FEW:
        hint = f" (one of: {', '.join(there)})"
    return Message(f"unknown {kind} '{shown}'{hint}", code, (kind, text))
