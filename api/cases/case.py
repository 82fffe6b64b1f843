"""A case at one version: one machine, its complaint, what was found, and how it ended.

Frozen and free of any session: edits make the next one of it, the engine is asked with it, and
``to_dict`` is the JSON document that callers see.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from api.cases import numbers
from api.cases.texts import OF_THE_CALLER
from api.strict_json import Json
from engine.answer.answer import Answer, Caution
from engine.answer.documents import SPREAD, Document, same
from engine.reasoning.effects import KNOWN
from engine.reasoning.request import (
    LAY,
    LEADING_CAUSES,
    DoneSchema,
    FindingSchema,
    MachineSchema,
)


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


OPEN, CLOSED = "open", "closed"
SETTINGS = ("on_hand", "excluded", "done", "skill", "limit")

Machine = Annotated[Json, MachineSchema]
Summary = Annotated[Json, Leading]  # as it is kept: a version of the program reads another's


@dataclass(frozen=True)
class Withdrawal(Document):
    """Who withdrew a finding, when and why."""

    by: str
    at: datetime
    because: str


@dataclass(frozen=True)
class CaseFinding(Document):
    """A finding of a case: as it was sent, with its place and who told it."""

    DOCUMENT: ClassVar = same("place", "by", "at") | {SPREAD: "body"} | same("withdrawn", "photos")

    place: int  # 1, 2, 3 in the order in which they came in
    body: Annotated[Json, FindingSchema]
    by: str
    at: datetime
    withdrawn: Withdrawal | None = None
    photos: tuple[str, ...] | None = field(default=None, metadata=KNOWN)  # where they are fetched

    @property
    def check(self) -> str:
        """Return the id of the check."""
        return str(self.body["check"])

    @property
    def side(self) -> str | None:
        """Return the side of the machine that it is about; None for both, or the only one."""
        return self.body.get("side")


@dataclass(frozen=True)
class CaseOutcome(Document):
    """How a case ended: ``cause`` is a cause's id, 'healthy', 'outside' or 'unknown'."""

    cause: str
    replaced: tuple[str, ...]
    minutes: int | None
    note: str
    by: str
    at: datetime

    @classmethod
    def of(cls, kept: Json) -> "CaseOutcome":
        """Return the outcome that ``to_dict`` gave."""
        at = datetime.fromisoformat(kept["at"])
        return cls(**{**kept, "replaced": tuple(kept["replaced"]), "at": at})


@dataclass(frozen=True)
class ShownDiagnosis(Document):
    """The whole diagnosis of a case as it stands, with where its findings stand in the case.

    Where the present knowledge does not take the machine most fields of the answer are missing.
    """

    DOCUMENT: ClassVar = same("number", "version") | {SPREAD: "answer"} | same("places", "left_out")

    number: str
    version: int
    answer: Annotated[Json, Answer] | None
    places: tuple[int, ...]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True)
class CaseDiagnosis(Document):
    """The engine's answer on a case, the places of the findings that it saw, and the others.

    ``answer`` has every cause; it is None when the present knowledge takes no such case.
    ``places[i]`` is the place in the case of what the answer calls finding ``i``; ``left_out``
    are findings that the present knowledge does not take, and why. ``other`` is the diagnosis of
    the other of two sides, where nothing was found on that and somebody looked at it.
    """

    answer: Json | None
    places: tuple[int, ...]
    left_out: tuple[LeftOut, ...] = ()
    other: "CaseDiagnosis | None" = None

    @classmethod
    def of(cls, kept: Json) -> "CaseDiagnosis":
        """Return the diagnosis that ``to_dict`` gave."""
        left_out = tuple(LeftOut(**one) for one in kept["left_out"])
        other = cls.of(kept["other"]) if kept.get("other") else None
        return cls(kept["answer"], tuple(kept["places"]), left_out, other)

    def of_side(self, side: str | None) -> "CaseDiagnosis | None":
        """Return the diagnosis of a side; None where nothing names it and it was not looked at."""
        sides = self.answer.get("sides") if self.answer else None
        if side is None or sides is None:
            return self
        if side in sides:
            return replace(self, answer=sides[side])
        return self.other


def cut(answer: Json, limit: int) -> Json:
    """Return an answer with its first ``limit`` causes, of each side where there are two."""
    shorter = {**answer, "causes": answer["causes"][: limit or None]}
    if "sides" in answer:
        shorter["sides"] = {side: cut(one, limit) for side, one in answer["sides"].items()}
    return shorter


@dataclass(frozen=True)
class Case(Document):
    """One machine, its complaint, what was found, the diagnosis, and how it ended."""

    HEAD: ClassVar = {"number": "shown_number"} | same(
        "version", "state", "opened_at", "opened_by", "changed_at", "fleet_number", "machine_type",
        "reference", "handed_to", "complaint", "machine",
    )  # fmt: skip
    DOCUMENT: ClassVar = HEAD | same(*OF_THE_CALLER, *SETTINGS, "findings", "leading", "outcome")

    number: str  # eight digits without a gap
    version: int
    state: str
    opened_at: datetime
    opened_by: str
    changed_at: datetime
    machine: Machine  # as the engine's request has it
    fleet_number: str = ""
    machine_type: str = ""
    reference: str = ""
    handed_to: str = ""
    complaint: str = ""
    caller_name: str = ""
    caller_phone: str = ""
    caller_place: str = ""
    call_back_at: str = ""  # UTC, to the second; nothing where nobody waits
    settings: Json = field(default_factory=dict)  # of SETTINGS, those that were given
    findings: tuple[CaseFinding, ...] = ()
    outcome: CaseOutcome | None = None
    leading: Summary | None = None  # leading causes and next check
    # the engine's whole answer; None where the case was read without it, see Book.diagnosed
    diagnosis: CaseDiagnosis | None = field(default=None, compare=False, repr=False)

    @property
    def shown_number(self) -> str:
        """Return the number with a gap in the middle, as it is read out."""
        return numbers.show(self.number)

    @property
    def is_open(self) -> bool:
        """Return whether the case still takes anything."""
        return self.state == OPEN

    @property
    def on_hand(self) -> list[str] | None:
        """Return the kinds of check that can be done; None for all."""
        return self.settings.get("on_hand")

    @property
    def excluded(self) -> list[str]:
        """Return the causes that were put right without a cure."""
        found: list[str] = self.settings.get("excluded", [])
        return found

    @property
    def done(self) -> list[Annotated[Json, DoneSchema]]:
        """Return what was put right between findings, ``after`` which finding of the case."""
        last = {"after": len(self.findings) - 1}
        return [{**last, **one} for one in self.settings.get("done", ())]

    @property
    def put_right(self) -> dict[str, int]:
        """Return what was put right without a cure: cause or part -> place of the finding before.

        That is 0 for what was put right before everything that was found.
        """
        found = {str(one.get("cause") or one.get("part")): one["after"] + 1 for one in self.done}
        return {**dict.fromkeys(self.excluded, 0), **found}

    @property
    def skill(self) -> Literal["lay", "trained"]:
        """Return who does the steps."""
        return "lay" if self.settings.get("skill") == LAY else "trained"

    @property
    def limit(self) -> int:
        """Return how many causes a diagnosis shows; 0 for all."""
        return int(self.settings.get("limit", LEADING_CAUSES))

    @property
    def counted(self) -> tuple[CaseFinding, ...]:
        """Return the findings that were not withdrawn."""
        return tuple(one for one in self.findings if one.withdrawn is None)

    def request(self) -> dict[str, Any]:
        """Return the request that the engine is asked with."""
        findings = [dict(one.body) for one in self.counted]
        asked = {"machine": dict(self.machine), "findings": findings, **self.settings}
        if isinstance(asked.get("done"), list):
            asked["done"] = [self._among_counted(one) for one in asked["done"]]
        return asked

    def _among_counted(self, act: Any) -> Any:
        """Return what was put right, its ``after`` counted among the findings that count."""
        after = act.get("after") if isinstance(act, Mapping) else None
        last = max((one.place for one in self.findings), default=0)
        if not isinstance(after, int) or not -1 <= after < last:
            return act  # the engine says what is wrong with it
        return {**act, "after": sum(one.place <= after + 1 for one in self.counted) - 1}

    def shown_diagnosis(self) -> ShownDiagnosis:
        """Return the diagnosis as callers see it. Needs a case that has one."""
        assert self.diagnosis is not None
        found, limit = self.diagnosis, self.limit
        answer = cut(found.answer, limit) if found.answer else {"causes": [], "next_checks": []}
        number = self.shown_number
        return ShownDiagnosis(number, self.version, answer, found.places, found.left_out)

    def of_side(self, side: str) -> "Case":
        """Return the case with the findings that are about a side, or about both."""
        return self.without({one.place for one in self.findings if one.side not in (None, side)})

    def without(self, places: set[int]) -> "Case":
        """Return the case with the findings at these places withdrawn, so that none counts."""
        gone = Withdrawal("", self.changed_at, "")
        return replace(self, findings=tuple(
            replace(one, withdrawn=gone) if one.place in places else one for one in self.findings
        ))  # fmt: skip


@dataclass(frozen=True)
class CaseEntry(Case):
    """A case without its findings, as lists have it."""

    DOCUMENT: ClassVar = {k: one for k, one in Case.DOCUMENT.items() if k != "findings"}


@dataclass(frozen=True)
class CaseHead(Case):
    """What tells one case from another."""

    DOCUMENT: ClassVar = Case.HEAD


@dataclass(frozen=True)
class CaseStep(Document):
    """What one version of a case changed, in words and as data, and the diagnosis after it."""

    version: int
    kind: str  # opened, finding-added, changed, finding-withdrawn, closed, reopened
    by: str
    at: datetime
    words: str
    changed: Json
    diagnosis: Summary | None


@dataclass(frozen=True)
class CaseSteps(Document):
    """The steps of a case, oldest first."""

    steps: tuple[CaseStep, ...]


@dataclass(frozen=True)
class CasePage(Document):
    """One page of a list of cases, newest first, and the cursor of the next one."""

    cases: tuple[CaseEntry, ...]
    next_cursor: str | None


class CaseError(Exception):
    """Base of what the case book refuses."""


class NoSuchCase(CaseError):  # noqa: N818 - said as a person says it
    """No case has this number; ``slip`` when its check digit shows a digit misheard or swapped."""

    def __init__(self, message: str, slip: bool = False, nearest: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.slip = slip
        self.nearest = list(nearest)


class NoSuchFinding(CaseError):  # noqa: N818
    """The case has no finding at this place."""


class NoSuchPhoto(NoSuchFinding):
    """The case has no photo of this name."""


class ClosedCase(CaseError):  # noqa: N818
    """The case is closed; it takes nothing until it is reopened."""


class OpenCase(CaseError):  # noqa: N818
    """The case is open; only a closed one can be reopened."""


class StaleCase(CaseError):  # noqa: N818
    """Somebody else changed the case since the version that the caller had seen.

    ``current`` is the case as it is now, ``changes`` are the steps since the version seen;
    ``because`` is what is said where no version was named.
    """

    def __init__(
        self, current: Case, changes: Sequence[CaseStep], because: str | None = None
    ) -> None:
        told = " ".join(step.words for step in changes[-3:])
        super().__init__(because or f"The case has changed meanwhile. {told}".strip())
        self.current = current
        self.changes = list(changes)
