"""What is known so far: the answers in the order in which they were given, and what is asked.

Everything else (the machine, the findings, what was excluded) is read off the answers, so undoing
one is leaving it out.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal

from api.cases.case import OPEN, Case, CaseFinding
from api.strict_json import Json
from engine.reasoning.request import LEADING, NOT_KNOWN

EntryKind = Literal[
    "machine", "finding", "agree", "decline", "reopen", "cured", "not-cured", "stop"
]  # fmt: skip
StepKind = Literal[
    "machine", "check", "leads", "place", "settle", "repair", "cure", "end", "refer", "pick"
]  # fmt: skip

OF_THE_CALL = ("audience", "label", "hands", "skill", "side")  # fields that are not the machine's
LABEL_LETTERS = 80
_UNSAID = datetime.min.replace(tzinfo=UTC)  # of what is in no book yet
_CLOSING = ("agree", "reopen", "cured", "not-cured")


@dataclass(frozen=True)
class Entry:
    """One answer: ``key`` is the field, check or cause that it is about.

    The ``value`` of what was put right is the act as a request has it; none: before all findings.
    """

    kind: EntryKind
    key: str = ""
    value: Any = None
    side: str | None = None


@dataclass(frozen=True)
class NextStep:
    """What the next line answers.

    ``replaces`` is the place of the answer that is being changed; ``partial`` is a reading of
    which something is still asked: unit, leads, place; ``choices`` are the checks to pick from.
    """

    kind: StepKind
    key: str = ""
    replaces: int | None = None
    partial: Json | None = None
    choices: tuple[str, ...] = ()
    asked_for: bool = False


@dataclass(frozen=True)
class InterviewState:
    """An interview: its answers, what was there before each change, what was told already."""

    entries: tuple[Entry, ...] = ()
    past: tuple[tuple[Entry, ...], ...] = ()
    target: NextStep | None = None
    told: frozenset[str] = frozenset()

    def with_entries(self, entries: Sequence[Entry]) -> "InterviewState":
        """Return the state with other answers; ``back`` leads to those there are now."""
        past = (*self.past, self.entries)
        return replace(self, entries=tuple(entries), past=past, target=None)

    def undone(self) -> "InterviewState":
        """Return the state before the last answer or change."""
        if self.past:
            before, past = self.past[-1], self.past[:-1]
        else:
            before, past = self.entries[:-1], ()
        return replace(self, entries=before, past=past, target=None)


@dataclass(frozen=True)
class Inquiry:
    """A case as it is asked about; what hangs on a side is that of the side looked at now."""

    case: Case
    fields: Json  # of machine and call; None is asked and not known
    declined: frozenset[str] = frozenset()
    agreed: str | None = None
    cured: str | None = None
    stopped: bool = False
    answer: Json | None = None  # the kept one, where the case has it
    asked: tuple[CaseFinding, ...] | None = None  # findings behind that answer

    @property
    def audience(self) -> str:
        """Return whom the wording is for; a caller's sentences when it was not said."""
        return self.fields.get("audience") or "caller"

    @property
    def two_sides(self) -> bool:
        """Return whether the machine has two brake solenoids."""
        return bool(self.fields.get("solenoids") == 2)

    @property
    def side(self) -> str | None:
        """Return the side that is looked at; None on a machine with one solenoid."""
        return side_of(self.fields)

    @property
    def mine(self) -> tuple[CaseFinding, ...]:
        """Return the findings of this side and those that concern both."""
        return self._seen.counted

    @property
    def _seen(self) -> Case:
        return self.case.of_side(self.side) if self.side else self.case

    @property
    def behind(self) -> tuple[CaseFinding, ...]:
        """Return the findings in the order in which the answer counts them."""
        return self.mine if self.asked is None else self.asked

    def answered(self, check: str) -> int:
        """Return how often a check was answered on this side since something was put right."""
        since = max((one["after"] + 1 for one in self.case.done), default=0)
        return sum(one.check == check for one in self.mine if one.place > since)

    @property
    def sides(self) -> list[str | None]:
        """Return the sides that anything was found on, the one looked at first."""
        found = dict.fromkeys([self.side])
        if self.two_sides:
            found |= dict.fromkeys(one.side for one in self.case.counted if one.side)
        return list(found)

    def request(self) -> Json:
        """Return the request of this side for every cause, with the evidence on those that lead.

        What was set aside is proposed once more by the engine; after a second time it is enough.
        """
        asked, answered = self._seen.request(), dict.fromkeys(one.check for one in self.mine)
        enough = [{"check": name, "outcome": NOT_KNOWN} for name in answered
                  if self.answered(name) > 1]  # fmt: skip
        return {**asked, "limit": 0, "evidence": LEADING,
                "findings": [*asked["findings"], *enough]}  # fmt: skip


def side_of(fields: Json) -> str | None:
    """Return the side to look at: None with one solenoid, the left one when it was not said."""
    if fields.get("solenoids") != 2:
        return None
    return fields.get("side") or "left"


def in_no_book(machine: Json, **told: Any) -> Case:
    """Return a case that nobody keeps yet: number, times and names are left open."""
    return Case("", 0, OPEN, _UNSAID, "", _UNSAID, machine, **told)


def as_case(answers: Iterable[tuple[int, Entry]], fields: Json) -> Case:
    """Return answers, each with its place from 1, as a case."""
    known = {key: value for key, value in fields.items() if value is not None}
    found, done, excluded = list[CaseFinding](), list[Json](), list[str]()
    for place, one in answers:
        if one.kind == "finding":
            found.append(CaseFinding(place, one.value, "", _UNSAID))
        elif one.kind == "not-cured" and one.value:
            done.append({**one.value, "after": found[-1].place - 1 if found else -1})
        elif one.kind == "not-cured":
            excluded.append(one.key)
    said = {"on_hand": known.get("hands"), "skill": known.get("skill"), "done": done or None}
    return in_no_book(
        {"control": "unknown", "coil": "unknown"}
        | {key: value for key, value in known.items() if key not in OF_THE_CALL},
        machine_type=str(known.get("label", ""))[:LABEL_LETTERS], findings=tuple(found),
        settings={name: one for name, one in said.items() if one} | {"excluded": excluded},
    )  # fmt: skip


def inquiry_of(entries: Sequence[Entry]) -> Inquiry:
    """Read the answers as a case."""
    fields = {one.key: one.value for one in entries if one.kind == "machine"}
    side = side_of(fields)
    mine = [one for one in entries if one.side in (None, side)]
    closing = [one for one in mine if one.kind in _CLOSING]
    last = closing[-1] if closing else Entry("stop")
    told = [(n, one) for n, one in enumerate(entries, 1) if one in mine]
    return Inquiry(
        case=as_case(told, fields), fields=fields,
        declined=frozenset(one.key for one in mine if one.kind == "decline"),
        agreed=last.key if last.kind == "agree" else None,
        cured=last.key if last.kind == "cured" else None,
        stopped=bool(mine) and mine[-1].kind == "stop",
    )  # fmt: skip
