"""A case at one version: one machine, its complaint, what was found, and how it ended.

Frozen and free of any session: edits make the next one of it, the engine is asked with it, and
``to_dict`` is the JSON document that callers see.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from api.cases import numbers

OPEN, CLOSED = "open", "closed"
SETTINGS = ("on_hand", "excluded", "done", "skill", "limit")
DEFAULT_LIMIT = 5
Json = Mapping[str, Any]  # an object of a request or an answer, as the wire has it


def moment(at: datetime) -> str:
    """Return a time in UTC as RFC 3339, to the microsecond."""
    return at.isoformat(timespec="microseconds").replace("+00:00", "Z")


@dataclass(frozen=True)
class Withdrawal:
    """Who withdrew a finding, when and why."""

    by: str
    at: datetime
    because: str

    def to_dict(self) -> dict[str, str]:
        """Return it as JSON."""
        return {"by": self.by, "at": moment(self.at), "because": self.because}


@dataclass(frozen=True)
class CaseFinding:
    """One finding of a case; ``body`` is as the engine's request has it."""

    place: int  # 1, 2, 3 in the order in which they came in
    body: Json
    by: str
    at: datetime
    withdrawn: Withdrawal | None = None

    @property
    def check(self) -> str:
        """Return the id of the check."""
        return str(self.body["check"])

    @property
    def side(self) -> str | None:
        """Return the side of the machine that it is about; None for both, or the only one."""
        return self.body.get("side")

    def to_dict(self) -> dict[str, Any]:
        """Return the finding with who told it and, if so, who withdrew it."""
        gone = self.withdrawn.to_dict() if self.withdrawn else None
        about = {"place": self.place, "by": self.by, "at": moment(self.at)}
        return {**about, **self.body, "withdrawn": gone}


@dataclass(frozen=True)
class Outcome:
    """How a case ended: ``cause`` is a cause's id, 'healthy', 'outside' or 'unknown'."""

    cause: str
    replaced: tuple[str, ...]
    minutes: int | None
    note: str
    by: str
    at: datetime

    @classmethod
    def of(cls, kept: Json) -> "Outcome":
        """Return the outcome that ``to_dict`` gave."""
        at = datetime.fromisoformat(kept["at"])
        return cls(**{**kept, "replaced": tuple(kept["replaced"]), "at": at})

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {
            "cause": self.cause, "replaced": list(self.replaced), "minutes": self.minutes,
            "note": self.note, "by": self.by, "at": moment(self.at),
        }  # fmt: skip


@dataclass(frozen=True)
class CaseDiagnosis:
    """The engine's answer on a case, the places of the findings that it saw, and the others.

    ``answer`` has every cause; it is None when the present knowledge takes no such case.
    ``places[i]`` is the place in the case of what the answer calls finding ``i``; ``left_out``
    are findings that the present knowledge does not take, and why. ``other`` is the diagnosis of
    the other of two sides, where nothing was found on that and somebody looked at it.
    """

    answer: Json | None
    places: tuple[int, ...]
    left_out: tuple[Json, ...] = ()
    other: "CaseDiagnosis | None" = None

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON, as it is kept."""
        return vars(self) | {
            "places": list(self.places), "left_out": list(self.left_out),
            "other": self.other and self.other.to_dict(),
        }  # fmt: skip

    @classmethod
    def of(cls, kept: Json) -> "CaseDiagnosis":
        """Return the diagnosis that ``to_dict`` gave."""
        other = kept.get("other")
        return cls(kept["answer"], tuple(kept["places"]), tuple(kept["left_out"]),
                   cls.of(other) if other else None)  # fmt: skip

    def of_side(self, side: str | None) -> "CaseDiagnosis | None":
        """Return the diagnosis of a side; None where nothing names it and it was not looked at."""
        sides = self.answer.get("sides") if self.answer else None
        if side is None or sides is None:
            return self
        if side in sides:
            return replace(self, answer=sides[side])
        return self.other

    def shown(self, limit: int) -> dict[str, Any]:
        """Return the answer as callers get it: its first ``limit`` causes, 0 for all."""
        found = cut(self.answer, limit) if self.answer else {"causes": [], "next_checks": []}
        return {**found, "places": list(self.places), "left_out": list(self.left_out)}


def cut(answer: Json, limit: int) -> dict[str, Any]:
    """Return an answer with its first ``limit`` causes, of each side where there are two."""
    shorter = {**answer, "causes": answer["causes"][: limit or None]}
    if "sides" in answer:
        shorter["sides"] = {side: cut(one, limit) for side, one in answer["sides"].items()}
    return shorter


@dataclass(frozen=True)
class Case:
    """A case at one version, or as the next version will be."""

    number: str  # eight digits without a gap
    version: int
    state: str
    opened_at: datetime
    opened_by: str
    changed_at: datetime
    machine: Json  # as the engine's request has it
    fleet_number: str = ""
    machine_type: str = ""
    reference: str = ""
    handed_to: str = ""
    complaint: str = ""
    settings: Json = field(default_factory=dict)  # of SETTINGS, those that were given
    findings: tuple[CaseFinding, ...] = ()
    outcome: Outcome | None = None
    leading: Json | None = None  # leading causes and next check, see diagnosis.summary
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
    def limit(self) -> int:
        """Return how many causes a diagnosis shows; 0 for all."""
        return int(self.settings.get("limit", DEFAULT_LIMIT))

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
        if not isinstance(after, int) or not -1 <= after < len(self.findings):
            return act  # the engine says what is wrong with it
        return {**act, "after": sum(one.place <= after + 1 for one in self.counted) - 1}

    def diagnosis_dict(self) -> dict[str, Any]:
        """Return the diagnosis as JSON, as callers see it. Needs a case that has one."""
        assert self.diagnosis is not None
        about = {"number": self.shown_number, "version": self.version}
        return about | self.diagnosis.shown(self.limit)

    def of_side(self, side: str) -> "Case":
        """Return the case with the findings that are about a side, or about both."""
        return self.without({one.place for one in self.findings if one.side not in (None, side)})

    def without(self, places: set[int]) -> "Case":
        """Return the case without the findings at these places."""
        return replace(self, findings=tuple(f for f in self.findings if f.place not in places))

    def to_dict(self) -> dict[str, Any]:
        """Return the case as one JSON object."""
        return {
            "number": self.shown_number,
            "version": self.version,
            "state": self.state,
            "opened_at": moment(self.opened_at),
            "opened_by": self.opened_by,
            "changed_at": moment(self.changed_at),
            "fleet_number": self.fleet_number,
            "machine_type": self.machine_type,
            "reference": self.reference,
            "handed_to": self.handed_to,
            "complaint": self.complaint,
            "machine": dict(self.machine),
            "on_hand": self.on_hand,
            "excluded": self.excluded,
            "done": self.settings.get("done", []),
            "skill": self.settings.get("skill", "trained"),
            "limit": self.limit,
            "findings": [one.to_dict() for one in self.findings],
            "leading": self.leading,
            "outcome": self.outcome.to_dict() if self.outcome else None,
        }

    def to_entry(self) -> dict[str, Any]:
        """Return what a list has of the case: all but the findings."""
        entry = self.to_dict()
        del entry["findings"]
        return entry


@dataclass(frozen=True)
class CaseStep:
    """What one version of a case changed, in words and as data, and the diagnosis after it."""

    version: int
    kind: str  # opened, finding-added, changed, finding-withdrawn, closed, reopened
    by: str
    at: datetime
    words: str
    changed: Json
    diagnosis: Json | None  # see diagnosis.summary

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {**vars(self), "at": moment(self.at)}


@dataclass(frozen=True)
class CasePage:
    """One page of a list of cases, without their findings; the cursor of the next page."""

    cases: tuple[Case, ...]
    next_cursor: str | None

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {
            "cases": [one.to_entry() for one in self.cases], "next_cursor": self.next_cursor,
        }  # fmt: skip
