"""A case of the store as the desk works on it, and the engine behind all desk pages."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

from flask import url_for

from api.cases.case import Case, CaseDiagnosis, CaseFinding
from api.cases.learning import LearningDiagnoser
from api.cases.work_order import WorkOrder
from api.interview import next_step
from api.interview.contents import inquiry_into, order_of
from api.interview.desk import Desk
from api.interview.state import Inquiry, NextStep
from api.service import current
from api.strict_json import Json
from api.translation import gettext
from engine import Diagnoser

SIDES = ("left", "right")
UNKNOWN = "unknown"


def desk() -> Desk:
    """Return the engine of the application that handles this request, as the desk uses it."""
    engine = cast(Diagnoser, current().engine)
    return Desk(engine.present() if isinstance(engine, LearningDiagnoser) else engine)


@dataclass(frozen=True)
class Call:
    """A case as the desk works on it, seen from one side of the machine."""

    case: Case  # with its diagnosis
    earlier: CaseDiagnosis | None  # of the version before
    side: str | None
    audience: str
    desk: Desk
    said: Sequence[Json] = ()  # at each of the latest steps, oldest first

    @classmethod
    def of(
        cls, case: Case, earlier: CaseDiagnosis | None, audience: str, side: str | None = None,
        said: Sequence[Json] = (),
    ) -> "Call":  # fmt: skip
        """Return a case as a call, seen from ``side`` where there are two."""
        return cls(case, earlier, _side(case, side), audience, desk(), said)

    @property
    def moments(self) -> list[dict[str, float]]:
        """Return the chances of causes after each of the steps, which keeps the likeliest few."""
        mine = [(one.get("sides") or {}).get(self.side, one) for one in self.said]
        return [{of["id"]: float(of["probability"]) for of in one.get("causes") or ()}
                for one in mine]  # fmt: skip

    @property
    def label(self) -> str:
        """Return what the machine is called."""
        return label_of(self.case)

    def finding(self, place: str | None) -> CaseFinding | None:
        """Return the finding at a place that a form or an address names."""
        return next((one for one in self.case.findings if str(one.place) == place), None)

    @cached_property
    def inquiry(self) -> Inquiry:
        """Return the case as it is asked about, with the kept answer.

        Raises RequestError where the present knowledge takes no such case.
        """
        found = inquiry_into(self.case, self.audience, self.side)
        kept = self.case.diagnosis.of_side(self.side) if self.case.diagnosis else None
        if kept is None or kept.answer is None:  # the engine says why
            return replace(found, answer=self.desk.answer(found), asked=found.mine)
        behind = tuple(one for one in found.case.counted if one.place in kept.places)
        return replace(found, answer=kept.answer, asked=behind)

    @property
    def answer(self) -> Json:
        """Return the diagnosis as it stands."""
        return self.desk.answer(self.inquiry)

    @cached_property
    def order(self) -> WorkOrder:
        """Return the case as a work order, with the answer of this side."""
        return order_of(self.inquiry, self.case, self.desk)

    @cached_property
    def before(self) -> Json | None:
        """Return the diagnosis before the last step; None where nothing was found by then."""
        mine = [one for one in self.case.counted if one.side in (None, self.side)]
        earlier = self.earlier.of_side(self.side) if self.earlier and len(mine) > 1 else None
        return earlier.answer if earlier else None

    @cached_property
    def may_record(self) -> bool:
        """Return whether a pull may be recorded: no danger or lay hands rule it out."""
        known = self.desk.knowledge.checks
        return any(
            known[name].kind == "recorder" and not self.desk.barred(self.inquiry, name)
            for name in self.desk.checks(self.inquiry)
        )

    @cached_property
    def target(self) -> NextStep:
        """Return what is asked next: a check, a repair, or that somebody else is to be asked."""
        return next_step.next_step(self.inquiry, self.desk)


def label_of(case: Case) -> str:
    """Return what a machine is called: 'site dumper, no. 42'."""
    number = case.fleet_number
    fleet = gettext("no. %(number)s", number=number) if number else ""
    named = ", ".join(part for part in (case.machine_type, fleet) if part)
    return named or gettext("machine not named")


def address_of(case: Case, side: str | None = None, check: str | None = None) -> str:
    """Return where a case's page is, seen from a side and at a check where one is named."""
    known = side if side in SIDES else None
    return url_for("desk.case_page", number=case.number, side=known, check=check)


def _side(case: Case, asked: str | None) -> str | None:
    """Return the side to look at: the one asked for, else that of the last answer, else left."""
    if case.machine.get("solenoids") != 2:
        return None
    sides = [one.side for one in case.counted if one.side]
    return asked if asked in SIDES else sides[-1] if sides else SIDES[0]
