"""A case of the store as the interview sees it, and the engine behind all desk pages."""

import json
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from threading import Lock
from typing import Any, cast

from flask import url_for

from api.cases.learning import LearningDiagnoser
from api.interview.desk import KEPT_ANSWERS, Answer, Desk
from api.interview.next_step import COMPLAINTS, TIMING, place
from api.interview.questions import questions
from api.interview.state import Case, Entry, Target, case_of
from api.service import current
from engine import Diagnoser

SIDES = ("left", "right")
UNKNOWN = "unknown"
_TEXTS = ("fleet_number", "machine_type", "reference", "complaint", "handed_to")
_ABOUT = ("place", "by", "at", "withdrawn")  # of a finding, beside what the engine takes
_STRUCK = Entry("decline")  # keeps the place of a finding that was struck out


class SharedDesk(Desk):
    """The interview's desk, for many threads: what is kept is guarded, diagnosing is not."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        super().__init__(diagnoser)
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._lock = Lock()

    def diagnose(self, request: Mapping[str, Any]) -> Answer:
        """Return the diagnosis of a request, kept from the last time where it is the same."""
        key = json.dumps(request, sort_keys=True)
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]
        answer = self.diagnoser.diagnose(request)
        with self._lock:
            self._answers[key] = answer
            while len(self._answers) > KEPT_ANSWERS:
                self._answers.popitem(last=False)
        return answer


def desk() -> Desk:
    """Return the desk of the application that handles this request.

    Where the service learns from closed cases, it is a new one once the shares have changed.
    """
    service = current()
    engine = cast(Diagnoser, service.engine)
    present = engine.present() if isinstance(engine, LearningDiagnoser) else engine
    kept: Desk | None = service.cache.get("desk")
    if kept is None or kept.diagnoser is not present:
        kept = service.cache["desk"] = SharedDesk(present)
    return kept


def label_of(fleet_number: str, machine_type: str) -> str:
    """Return what a machine is called: 'site dumper, fleet no. 42'."""
    fleet = f"fleet no. {fleet_number}" if fleet_number else ""
    return ", ".join(part for part in (machine_type, fleet) if part) or "machine not named"


@dataclass(frozen=True)
class Told:
    """One finding as it stands in the case: struck out, it is shown and counts for nothing."""

    place: int
    body: Mapping[str, Any]
    by: str
    at: str
    struck_by: str | None = None
    struck_because: str | None = None


@dataclass(frozen=True)
class Call:
    """A case as the desk works on it, seen from one side of the machine."""

    number: str
    version: int
    state: str
    fleet_number: str
    machine_type: str
    reference: str
    complaint: str
    handed_to: str
    machine: Mapping[str, Any]
    settings: Mapping[str, Any]
    told: tuple[Told, ...]
    outcome: Mapping[str, Any] | None
    opened: str
    side: str | None
    audience: str
    desk: Desk

    @classmethod
    def of(cls, document: Mapping[str, Any], audience: str, side: str | None = None) -> "Call":
        """Return a case document of the book as a call, seen from ``side`` where there are two."""
        told = tuple(_told(one) for one in document["findings"])
        texts = {name: document[name] for name in _TEXTS}
        settings = {"on_hand": document["on_hand"], "excluded": document["excluded"]}
        return cls(
            number=document["number"], version=document["version"], state=document["state"],
            **texts, machine=document["machine"], settings=settings, told=told,
            outcome=document["outcome"], opened=document["opened_at"],
            side=_side(document["machine"], told, side), audience=audience, desk=desk(),
        )  # fmt: skip

    @property
    def address(self) -> str:
        """Return where the case's page is."""
        return url_for("desk.case_page", number=self.digits)

    @property
    def digits(self) -> str:
        """Return the case's number as an address has it."""
        return self.number.replace(" ", "")

    @property
    def label(self) -> str:
        """Return what the machine is called."""
        return label_of(self.fleet_number, self.machine_type)

    @property
    def is_open(self) -> bool:
        """Return whether the case still takes answers."""
        return self.state == "open"

    @property
    def counting(self) -> list[Told]:
        """Return the findings that were not struck out."""
        return [one for one in self.told if one.struck_by is None]

    @property
    def excluded(self) -> list[tuple[str, str]]:
        """Return the causes that were put right without a cure, with their names."""
        return [(one, self.desk.name(one)) for one in self.settings.get("excluded", ())]

    @property
    def mine(self) -> list[Told]:
        """Return those of this side and of both, in the order of ``case.mine``."""
        return [one for one in self.counting if one.body.get("side") in (None, self.side)]

    @property
    def complaint_check(self) -> str:
        """Return the check that the complaint answers."""
        return COMPLAINTS[self.machine["duty"]]

    @cached_property
    def case(self) -> Case:
        """Return the case as the interview knows it."""
        return self._case(self.counting)

    def _case(self, told: list[Told]) -> Case:
        """Return the case with these findings. Each stands at its own place, so that what the
        interview calls answer 3 is answer 3 here."""
        kept = {one.place: one.body for one in told}
        entries = [
            Entry("finding", kept[place]["check"], dict(kept[place]))
            if place in kept else _STRUCK
            for place in range(1, max(kept, default=0) + 1)
        ]  # fmt: skip
        fields = fields_of(self.machine, self.settings)
        fields |= {"audience": self.audience, "label": self.label, "side": self.side}
        entries += [Entry("machine", key, value) for key, value in fields.items()]
        entries += [Entry("not-cured", one) for one in self.settings.get("excluded", ())]
        return case_of(entries)

    @cached_property
    def answer(self) -> Answer:
        """Return the diagnosis as it stands."""
        return self.desk.answer(self.case)

    @cached_property
    def before(self) -> Answer | None:
        """Return the diagnosis before the last answer; None where there was none."""
        last = max(self.mine, key=lambda one: one.place, default=None)
        if last is None or len(self.mine) < 2:
            return None
        return self.desk.answer(self._case([one for one in self.counting if one is not last]))

    @cached_property
    def control_told(self) -> str | None:
        """Return the control type that the answers tell while the machine's is not known."""
        if self.machine.get("control", UNKNOWN) != UNKNOWN:
            return None
        heard = [one.body.get("outcome", "") for one in self.mine if one.body["check"] == TIMING]
        found = self.desk.at_moment(self.case, heard[-1]) if heard else []
        return found[0] if len(found) == 1 else None

    @cached_property
    def target(self) -> Target:
        """Return what is asked next: a check, a repair, or that somebody else is to be asked."""
        return place(replace(self.case, declined=frozenset({"control"})), self.desk)


def _told(row: Mapping[str, Any]) -> Told:
    body = {key: value for key, value in row.items() if key not in _ABOUT}
    gone = row["withdrawn"]
    if gone is None:
        return Told(row["place"], body, row["by"], row["at"])
    return Told(row["place"], body, row["by"], row["at"], gone["by"], gone["because"])


def _side(machine: Mapping[str, Any], told: tuple[Told, ...], asked: str | None) -> str | None:
    """Return the side to look at: the one asked for, else that of the last answer, else left."""
    if machine.get("solenoids") != 2:
        return None
    if asked in SIDES:
        return asked
    sides = [one.body["side"] for one in told if one.body.get("side") and one.struck_by is None]
    return sides[-1] if sides else SIDES[0]


def fields_of(machine: Mapping[str, Any], settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return every answer about the machine, None where it is not known."""
    fields: dict[str, Any] = {one.id: None for one in questions() if not one.number}
    fields |= {key: value for key, value in machine.items() if value != UNKNOWN}
    return fields | {"hands": settings.get("on_hand")}
