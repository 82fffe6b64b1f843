"""What is known so far: the answers in the order in which they were given, and what is asked.

Everything else (the machine, the findings, what was excluded) is read off the answers, so undoing
one is leaving it out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from api.strict_json import Json

EntryKind = Literal[
    "machine", "finding", "skip", "agree", "decline", "reopen", "cured", "not-cured", "stop"
]  # fmt: skip
StepKind = Literal[
    "machine", "check", "leads", "place", "settle", "repair", "cure", "end", "refer", "pick"
]  # fmt: skip

OF_THE_CALL = ("audience", "label", "hands", "skill", "side")  # fields that are not the machine's
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
    """The answers read as a case; what hangs on a side is that of the side looked at now."""

    fields: Json
    findings: tuple[tuple[int, Json], ...]
    skipped: tuple[str, ...] = ()
    excluded: tuple[str, ...] = ()
    done: tuple[tuple[int, Json], ...] = ()  # put right, and the place behind what was found before
    declined: frozenset[str] = frozenset()
    agreed: str | None = None
    cured: str | None = None
    stopped: bool = False
    answer: Json | None = None  # the kept one, where the case has it
    asked: tuple[tuple[int, Json], ...] | None = None  # findings behind that answer

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
    def mine(self) -> list[tuple[int, Json]]:
        """Return the findings of this side and those that concern both, with their places."""
        return [pair for pair in self.findings if pair[1].get("side") in (None, self.side)]

    @property
    def behind(self) -> Sequence[tuple[int, Json]]:
        """Return the findings in the order in which the answer counts them, with their places."""
        return self.mine if self.asked is None else self.asked

    def answered(self, check: str) -> int:
        """Return how often a check was answered on this side since something was put right."""
        since = max((place for place, _ in self.done), default=0)
        return sum(one["check"] == check for place, one in self.mine if place >= since)

    @property
    def sides(self) -> list[str | None]:
        """Return the sides that anything was found on, the one looked at first."""
        found = dict.fromkeys([self.side])
        if self.two_sides:
            found |= dict.fromkeys(one["side"] for _, one in self.findings if "side" in one)
        return list(found)

    def machine(self) -> Json:
        """Return the machine of a request; what is not known is left out or 'unknown'."""
        kept = {
            key: value
            for key, value in self.fields.items()
            if key not in OF_THE_CALL and value is not None
        }
        return {"control": "unknown", "coil": "unknown", **kept}

    def request(self, everywhere: bool = False) -> Json:
        """Return the request: of this side, or of both. What was skipped is not known.

        Raises KeyError when the duty was not answered yet.
        """
        self.fields["duty"]
        found = self.findings if everywhere else self.mine
        enough = [] if everywhere else self._enough()
        return {
            "machine": self.machine(), "limit": 0, **self.settings, **self._told(found),
            "findings": [dict(one) for _, one in found]
            + [{"check": name, "outcome": "not-known"} for name in enough],
        }  # fmt: skip

    def _told(self, found: Sequence[tuple[int, Json]]) -> Json:
        """Return what was put right, of what is in ``found`` before it or after it."""
        done = [
            {**act, "after": sum(before < place for before, _ in found) - 1}
            for place, act in self.done
        ]  # fmt: skip
        return {"excluded": list(self.excluded)} | ({"done": done} if done else {})

    @property
    def settings(self) -> Json:
        """Return what is at hand and who does the steps, where that was said."""
        said = {"on_hand": self.fields.get("hands"), "skill": self.fields.get("skill")}
        return {name: value for name, value in said.items() if value is not None}

    def request_behind(self) -> Json:
        """Return the request with the findings as the answer counts them."""
        found = [dict(one) for _, one in self.behind]
        return {**self.request(), **self._told(self.behind), "findings": found}

    def _enough(self) -> list[str]:
        """Return the checks that are not asked again: skipped, or answered twice.

        What was set aside is proposed once more by the engine; after a second time it is enough.
        """
        answered = dict.fromkeys(one["check"] for _, one in self.mine)
        skipped = [name for name in self.skipped if name not in answered]
        return skipped + [name for name in answered if self.answered(name) > 1]


def side_of(fields: Json) -> str | None:
    """Return the side to look at: None with one solenoid, the left one when it was not said."""
    if fields.get("solenoids") != 2:
        return None
    return fields.get("side") or "left"


def inquiry_of(entries: Sequence[Entry]) -> Inquiry:
    """Read the answers as a case."""
    fields = {one.key: one.value for one in entries if one.kind == "machine"}
    side = side_of(fields)
    mine = [one for one in entries if one.side in (None, side)]
    closing = [one for one in mine if one.kind in _CLOSING]
    last = closing[-1] if closing else Entry("stop")
    return Inquiry(
        fields=fields,
        findings=tuple((n, one.value) for n, one in enumerate(entries) if one.kind == "finding"),
        skipped=tuple(one.key for one in mine if one.kind == "skip"),
        excluded=tuple(one.key for one in mine if one.kind == "not-cured" and not one.value),
        done=tuple(
            (n, one.value)
            for n, one in enumerate(entries)
            if one.kind == "not-cured" and one.value and one.side in (None, side)
        ),
        declined=frozenset(one.key for one in mine if one.kind == "decline"),
        agreed=last.key if last.kind == "agree" else None,
        cured=last.key if last.kind == "cured" else None,
        stopped=bool(mine) and mine[-1].kind == "stop",
    )
