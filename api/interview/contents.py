"""An interview's answers as the contents of a case, a case as answers, and answers in words.

The list of answers is kept one that the engine takes: ``accept`` leaves out what no longer fits.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from api.answers.finding_words import name_of, observed
from api.cases.case import OPEN, Case, CaseFinding, CaseOutcome
from api.cases.work_order import WorkOrder
from api.interview.desk import Desk
from api.interview.questions import question, questions
from api.interview.state import Entry, Inquiry, inquiry_of
from api.strict_json import Json
from engine import Fault, RequestError
from engine.reasoning.request import NOT_KNOWN, read_request

SKIPPED = "skipped"  # the note of a check that was left out: it is not known, and asked no more
LABEL_LETTERS = 80
UNSAID = datetime.min.replace(tzinfo=UTC)  # of what is in no book yet
_UNKNOWN = "unknown"
_PLACE = re.compile(r"^findings\[(\d+)\](?:\.(\w+))?")
_SAID = {
    "skip": "skipped", "agree": "repair chosen", "decline": "not taken",
    "reopen": "repair put off", "cured": "put right, and that cured it",
    "not-cured": "put right, complaint unchanged", "stop": "stopped here",
}  # fmt: skip


class Refused(ValueError):  # noqa: N818 - the engine refused it; nothing is broken
    """An answer cannot be taken; the messages say why, in the engine's words."""

    def __init__(self, messages: Sequence[str]) -> None:
        self.messages = list(messages)
        super().__init__("\n".join(messages))


def placed(entries: Sequence[Entry], entry: Entry, replaces: int | None) -> tuple[list[Entry], int]:
    """Return the answers with one more, or with one put in the place of another; and its place."""
    found = list(entries)
    if replaces is None:
        return [*found, entry], len(found)
    found[replaces] = entry
    return found, replaces


def finding_entry(case: Inquiry, desk: Desk, finding: Json) -> Entry:
    """Return a finding as an answer; on a machine with two solenoids it belongs to a side."""
    check = desk.knowledge.checks[finding["check"]]
    if case.two_sides and not check.shared_between_sides:
        finding = {"side": case.side, **finding}
    return Entry("finding", check.id, finding)


def accept(entries: Sequence[Entry], new: int, desk: Desk) -> tuple[list[Entry], list[str]]:
    """Return answers that can be diagnosed, and what had to be left out because of the new one.

    ``new`` is the place of the answer just given. Raises Refused when that one is at fault.
    """
    kept, dropped = list(entries), list[str]()
    for _ in range(len(entries)):
        faults = _faults(kept, desk)
        if not faults:
            return kept, dropped
        place, name = _at_fault(kept, faults[0])
        own = [one for one in faults if _at_fault(kept, one)[0] == new]
        if own or place is None:
            raise Refused([one.message for one in own] or [str(one) for one in faults])
        entry = kept[place]
        if name == "side":
            value = {key: value for key, value in entry.value.items() if key != "side"}
            kept[place] = Entry(entry.kind, entry.key, value)
            continue
        dropped.append(f"{desk.name(entry.key)}: {faults[0].message}")
        del kept[place]
        new -= place < new
    return kept, dropped


def _faults(entries: Sequence[Entry], desk: Desk) -> list[Fault]:
    case = inquiry_of(entries)
    if "duty" not in case.fields:
        return []
    try:
        read_request(case.request(everywhere=True), desk.knowledge)
    except RequestError as error:
        return error.faults
    return []


def _at_fault(entries: Sequence[Entry], fault: Fault) -> tuple[int | None, str]:
    """Return the place of the answer that a fault is about, and the field in it."""
    match = _PLACE.match(fault.path)
    if match:
        findings = inquiry_of(entries).findings
        return findings[int(match.group(1))][0], match.group(2) or ""
    field = fault.path.removeprefix("machine.") if fault.path != "on_hand" else "hands"
    return last_place(entries, field), field


def last_place(entries: Sequence[Entry], field: str) -> int | None:
    """Return the place of the last answer about a field of the machine, if there is one."""
    places = [n for n, one in enumerate(entries) if (one.kind, one.key) == ("machine", field)]
    return places[-1] if places else None


def entry_words(entry: Entry, fields: Mapping[str, Any], desk: Desk) -> str:
    """Return an answer as one line."""
    if entry.kind == "machine":
        asked = question(entry.key, fields)
        return f"{asked.name}: {asked.words(entry.value)}"
    if entry.kind == "finding":
        return f"{name_of(entry.value, desk.knowledge)}: {observed(entry.value, desk.knowledge)}"
    side = f" ({entry.side})" if entry.side else ""
    return f"{desk.name(entry.key) if entry.key else 'Interview'}{side}: {_SAID[entry.kind]}"


@dataclass(frozen=True)
class Contents:
    """What a case holds of an interview: ``fields`` as the case book takes a change, and more."""

    fields: Json
    findings: Sequence[Json]
    done: Sequence[Json]  # what was put right without a cure
    cured: str | None

    @property
    def machine(self) -> Json:
        """Return the machine, as a request has it."""
        found: Json = self.fields["machine"]
        return found


def contents_of(entries: Sequence[Entry]) -> Contents | None:
    """Return what the answers come to; None until the duty is known, which a case needs."""
    call = inquiry_of(entries)
    if "duty" not in call.fields:
        return None
    fields = {
        "machine_type": str(call.fields.get("label") or "")[:LABEL_LETTERS],
        "machine": call.machine(), "on_hand": call.fields.get("hands"),
        "skill": call.fields.get("skill"),
        "excluded": [one.key for one in entries if one.kind == "not-cured" and not one.value],
    }  # fmt: skip
    found = [one for one in map(_finding, entries) if one]
    done = [dict(one.value) for one in entries if one.kind == "not-cured" and one.value]
    return Contents(fields, found, done, call.cured)


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
    found += [Entry("not-cured", cause) for cause in case.excluded]
    for place in range(len(case.findings) + 1):
        found += [_answer(one.body) for one in case.counted if one.place == place]
        found += [_act(one) for one in case.done if one["after"] + 1 == place]
    sides = [one.side for one in case.counted if one.side]
    if sides:
        found.append(Entry("machine", "side", sides[-1]))
    if case.outcome is not None:
        found.append(Entry("cured", case.outcome.cause, side=sides[-1] if sides else None))
    return found


def _known(case: Case) -> dict[str, Any]:
    """Return what is known of the machine and of who does the steps."""
    known = {key: value for key, value in case.machine.items() if value != _UNKNOWN}
    said = {"hands": case.on_hand, "skill": case.settings.get("skill")}
    return known | {key: value for key, value in said.items() if value is not None}


def _machine(case: Case) -> Iterator[Entry]:
    """Yield what is known of the machine; behind findings, what was never said is not known."""
    known = _known(case) | {"audience": "caller", "label": case.machine_type or None}
    for one in questions():
        if one.id in known and one.applies(known):
            yield Entry("machine", one.id, known[one.id])
        elif case.findings and not one.apart and one.applies(known) and one.id != "side":
            yield Entry("machine", one.id)


def _act(done: Json) -> Entry:
    act = {key: value for key, value in done.items() if key != "after"}
    return Entry("not-cured", str(act.get("cause") or act.get("part")), act)


def _answer(body: Json) -> Entry:
    if body.get("outcome") == NOT_KNOWN and body.get("note") == SKIPPED:
        return Entry("skip", body["check"], side=body.get("side"))
    return Entry("finding", body["check"], dict(body))


def inquiry_into(case: Case, audience: str, side: str | None) -> Inquiry:
    """Return a case as it is asked about: what was never said of the machine is not known.

    Each finding keeps its place, so that answer 3 of the case is answer 3 here. What the present
    knowledge does not take is left out.
    """
    fields = dict.fromkeys(one.id for one in questions() if not one.apart) | _known(case)
    fields |= {"audience": audience, "side": side}
    places = case.diagnosis.places if case.diagnosis else [one.place for one in case.counted]
    taken = [one for one in case.counted if one.place in places]
    return Inquiry(
        fields=fields, findings=tuple((one.place - 1, one.body) for one in taken),
        excluded=tuple(case.excluded), declined=frozenset({"control"}),
        done=tuple((one["after"] + 1, one) for one in case.done),
    )  # fmt: skip


def order_of(entries: Sequence[Entry], desk: Desk) -> WorkOrder:
    """Return the work order of the side looked at; answer 3 of the list is finding 3 of it.

    Nothing is kept yet: number, times and names are left open. Needs the duty.
    """
    inquiry = inquiry_of(entries)
    found = tuple(CaseFinding(n + 1, one, "", UNSAID) for n, one in inquiry.mine)
    outcome = CaseOutcome(inquiry.cured, (), None, "", "", UNSAID) if inquiry.cured else None
    case = Case(
        "", 0, OPEN, UNSAID, "", UNSAID, inquiry.machine(),
        machine_type=str(inquiry.fields.get("label") or ""),
        findings=found, outcome=outcome,
        settings={"excluded": list(inquiry.excluded),
                  "done": [{**act, "after": place - 1} for place, act in inquiry.done]},
    )  # fmt: skip
    return WorkOrder(
        case, desk.knowledge, desk.answer(inquiry), tuple(one.place for one in found),
        inquiry.side, inquiry.cured or inquiry.agreed,
    )  # fmt: skip
