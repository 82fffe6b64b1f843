"""The diagnosis in short, as a case shows and keeps it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from api.answers.documents import Document, same
from engine.answer.answer import KNOWN, Caution


@dataclass(frozen=True)
class LeadingCause:
    """One of the leading causes."""

    id: str
    name: str
    probability: float
    group: int


@dataclass(frozen=True)
class OfferedAnswer:
    """An answer that a check may have, as it is sent and as a caller says it."""

    outcome: str
    words: str


@dataclass(frozen=True)
class LeadingCheck:
    """The check to do next, with all that a screen needs to ask for its result."""

    check: str
    name: str
    kind: str
    minutes: float
    say: str
    cautions: tuple[str, ...] = ()
    unit: str | None = None
    outcomes: tuple[OfferedAnswer, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """A finding that the present knowledge base does not take; it stays in the case."""

    place: int | None
    because: str


@dataclass(frozen=True)
class OneSide(Document):
    """The diagnosis in short."""

    causes: tuple[LeadingCause, ...] = ()
    next_check: LeadingCheck | None = None
    fit: str | None = None
    advice: str | None = None
    covered: bool | None = None
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Leading(OneSide):
    """The diagnosis in short, as it was at this version of the case."""

    DOCUMENT: ClassVar = same(
        "knowledge_version", "causes", "next_check", "fit", "advice", "covered", "cautions",
        "side", "sides", "left_out",
    )  # fmt: skip

    knowledge_version: str | None = None
    left_out: tuple[LeftOut, ...] = ()
    side: str | None = field(default=None, metadata=KNOWN)
    sides: Mapping[str, OneSide] | None = field(default=None, metadata=KNOWN)
