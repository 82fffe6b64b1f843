"""An interview's answers as the contents of a case, and a case as answers to go on from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from api.cases.case import OPEN, Case, CaseFinding, Json, Outcome
from api.cases.work_order import WorkOrder
from api.interview.desk import Desk
from api.interview.questions import questions
from api.interview.state import Entry, Inquiry, inquiry_of
from engine.reasoning.request import NOT_KNOWN

SKIPPED = "skipped"  # the note of a check that was left out: it is not known, and asked no more
LABEL_LETTERS = 80
UNSAID = datetime.min.replace(tzinfo=UTC)  # of what is in no book yet
_UNKNOWN = "unknown"


@dataclass(frozen=True)
class Contents:
    """What a case holds of an interview."""

    label: str
    machine: Json
    on_hand: Sequence[str] | None
    excluded: Sequence[str]
    findings: Sequence[Json]
    cured: str | None

    @property
    def fields(self) -> Json:
        """Return all but findings and end, as the case book takes a change."""
        return {
            "machine_type": self.label, "machine": self.machine, "on_hand": self.on_hand,
            "excluded": self.excluded,
        }  # fmt: skip


def contents_of(entries: Sequence[Entry]) -> Contents | None:
    """Return what the answers come to; None until the duty is known, which a case needs."""
    call = inquiry_of(entries)
    if "duty" not in call.fields:
        return None
    excluded = dict.fromkeys(one.key for one in entries if one.kind == "not-cured")
    return Contents(
        label=str(call.fields.get("label") or "")[:LABEL_LETTERS], machine=call.machine(),
        on_hand=call.fields.get("hands"), excluded=list(excluded),
        findings=[one for one in map(_finding, entries) if one], cured=call.cured,
    )  # fmt: skip


def _finding(entry: Entry) -> Json | None:
    if entry.kind == "finding":
        return dict(entry.value)
    if entry.kind != "skip":
        return None
    side = {"side": entry.side} if entry.side else {}
    return {"check": entry.key, "outcome": NOT_KNOWN, "note": SKIPPED, **side}


def entries_of(case: Case) -> list[Entry]:
    """Return a case as answers; which side was looked at last is that of the last finding."""
    found = list(_machine(case))
    found += [_answer(one.body) for one in case.counted]
    found += [Entry("not-cured", cause) for cause in case.excluded]
    sides = [one.side for one in case.counted if one.side]
    if sides:
        found.append(Entry("machine", "side", sides[-1]))
    if case.outcome is not None:
        found.append(Entry("cured", case.outcome.cause, side=sides[-1] if sides else None))
    return found


def _machine(case: Case) -> Iterator[Entry]:
    """Yield what is known of the machine; behind findings, what was never said is not known."""
    known = {key: value for key, value in case.machine.items() if value != _UNKNOWN}
    known |= {"audience": "caller", "label": case.machine_type or None}
    if case.on_hand is not None:
        known["hands"] = case.on_hand
    for one in questions():
        if one.id in known and one.applies(known):
            yield Entry("machine", one.id, known[one.id])
        elif case.findings and not one.number and one.applies(known) and one.id != "side":
            yield Entry("machine", one.id)


def _answer(body: Json) -> Entry:
    if body.get("outcome") == NOT_KNOWN and body.get("note") == SKIPPED:
        return Entry("skip", body["check"], side=body.get("side"))
    return Entry("finding", body["check"], dict(body))


def inquiry_into(case: Case, audience: str, side: str | None) -> Inquiry:
    """Return a case as it is asked about: what was never said of the machine is not known.

    Each finding keeps its place, so that answer 3 of the case is answer 3 here. What the present
    knowledge does not take is left out.
    """
    known = {key: value for key, value in case.machine.items() if value != _UNKNOWN}
    fields = dict.fromkeys(one.id for one in questions() if not one.number) | known
    fields |= {"hands": case.on_hand, "audience": audience, "side": side}
    places = case.diagnosis.places if case.diagnosis else [one.place for one in case.counted]
    taken = [one for one in case.counted if one.place in places]
    return Inquiry(
        fields=fields, findings=tuple((one.place - 1, one.body) for one in taken),
        skipped=(), excluded=tuple(case.excluded), declined=frozenset({"control"}), agreed=None,
        cured=None, stopped=False,
    )  # fmt: skip


def order_of(entries: Sequence[Entry], desk: Desk) -> WorkOrder:
    """Return the work order of the side looked at; answer 3 of the list is finding 3 of it.

    Nothing is kept yet: number, times and names are left open. Needs the duty.
    """
    inquiry = inquiry_of(entries)
    found = tuple(CaseFinding(n + 1, one, "", UNSAID) for n, one in inquiry.mine)
    outcome = Outcome(inquiry.cured, (), None, "", "", UNSAID) if inquiry.cured else None
    case = Case(
        "", 0, OPEN, UNSAID, "", UNSAID, inquiry.machine(),
        machine_type=str(inquiry.fields.get("label") or ""),
        settings={"excluded": list(inquiry.excluded)}, findings=found, outcome=outcome,
    )  # fmt: skip
    return WorkOrder(
        case, desk.knowledge, desk.answer(inquiry), tuple(one.place for one in found),
        inquiry.side, inquiry.cured or inquiry.agreed,
    )  # fmt: skip
