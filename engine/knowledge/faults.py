"""Faults found in what people typed, and the exceptions that carry all of them at once."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong: where it stands (a path such as ``findings[2].unit``) and what to do."""

    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}" if self.path else self.message


class FaultsError(Exception):
    """Base of the exceptions that carry every fault, sorted by place."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: list[Fault] = sorted(set(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class KnowledgeError(FaultsError):
    """The knowledge base cannot be used; each fault names file, item and field."""


class RequestError(FaultsError):
    """A request cannot be answered; each fault names its place in the request."""


def nearest(word: object, known: Iterable[str]) -> str:
    """Return `` (did you mean 'x'?)`` for the known word closest to ``word``, or nothing."""
    matches = difflib.get_close_matches(str(word), list(known), n=1, cutoff=0.55)
    return f" (did you mean '{matches[0]}'?)" if matches else ""


def unknown(kind: str, word: object, known: Iterable[str]) -> str:
    """Return the message for an identifier that does not exist, with the nearest that does."""
    text = str(word)
    shown = text if len(text) <= 60 else text[:57] + "..."
    return f"unknown {kind} '{shown}'{nearest(text[:100], known)}"
