"""An interview's answers as the contents of a case, a case as answers, and answers in words.

The list of answers is kept one that the engine takes: ``accept`` leaves out what no longer fits.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from api.answers.finding_words import name_of, observed
from api.cases.case import Case, CaseOutcome
from api.cases.work_order import WorkOrder
from api.interview.desk import Desk
from api.interview.questions import question, questions
from api.interview.state import Entry, Inquiry, as_case, inquiry_of
from api.strict_json import Json
from engine import Fault, RequestError
from engine.reasoning.request import read_request

_UNKNOWN = "unknown"
_PLACE = re.compile(r"^findings\[(\d+)\](?:\.(\w+))?")
_SAID = {
    "agree": "repair chosen", "decline": "not taken",
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
    return Entry("finding", finding["check"], desk.sided(finding, case.side))


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
    asked = inquiry_of(entries)
    if "duty" not in asked.fields:
        return []
    try:
        read_request(asked.case.request(), desk.knowledge)
    except RequestError as error:
        return error.faults
    return []


def _at_fault(entries: Sequence[Entry], fault: Fault) -> tuple[int | None, str]:
    """Return the place of the answer that a fault is about, and the field in it."""
    match = _PLACE.match(fault.path)
    if match:
        found = inquiry_of(entries).case.counted[int(match.group(1))]
        return found.place - 1, match.group(2) or ""
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


def contents_of(entries: Sequence[Entry]) -> Case | None:
    """Return what a case holds of the answers; None until the duty is known, which it needs."""
    call = inquiry_of(entries)
    if "duty" not in call.fields:
        return None
    return _ended(as_case(enumerate(entries, start=1), call.fields), call)


def _ended(case: Case, call: Inquiry) -> Case:
    how = CaseOutcome(call.cured, (), None, "", "", case.opened_at) if call.cured else None
    return replace(case, outcome=how)


def entries_of(case: Case) -> list[Entry]:
    """Return a case as answers; which side was looked at last is that of the last finding."""
    found = list(_machine(case))
    found += [Entry("not-cured", cause) for cause in case.excluded]
    for place in range(len(case.findings) + 1):
        found += [Entry("finding", one.check, dict(one.body)) for one in case.counted
                  if one.place == place]  # fmt: skip
        found += [
            Entry("not-cured", str(one.get("cause") or one.get("part")), bare(one))
            for one in case.done if one["after"] + 1 == place
        ]  # fmt: skip
    sides = [one.side for one in case.counted if one.side]
    if sides:
        found.append(Entry("machine", "side", sides[-1]))
    if case.outcome is not None:
        found.append(Entry("cured", case.outcome.cause, side=sides[-1] if sides else None))
    return found


def _known(case: Case) -> dict[str, Any]:
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


def bare(done: Json) -> Json:
    """Return what was put right, without the finding that it was done after."""
    return {key: value for key, value in done.items() if key != "after"}


def inquiry_into(case: Case, audience: str, side: str | None) -> Inquiry:
    """Return a case as it is asked about: what was never said of the machine is not known.

    What the present knowledge does not take is left out.
    """
    fields = dict.fromkeys(one.id for one in questions() if not one.apart) | _known(case)
    fields |= {"audience": audience, "side": side}
    kept = case.diagnosis.places if case.diagnosis else [one.place for one in case.counted]
    taken = case.without({one.place for one in case.counted}.difference(kept))
    return Inquiry(taken, fields, declined=frozenset({"control"}))


def side_looked_at(call: Inquiry) -> Case:
    """Return what was told of one side so far, and that it was cured; answer 3 is finding 3."""
    return _ended(replace(call.case, findings=call.mine), call)


def order_of(inquiry: Inquiry, case: Case, desk: Desk) -> WorkOrder:
    """Return a case as the work order of the side looked at. Needs the duty."""
    chosen = case.outcome.cause if case.outcome else inquiry.agreed
    places = tuple(one.place for one in inquiry.behind)
    return WorkOrder(case, desk.knowledge, desk.answer(inquiry), places, inquiry.side, chosen)
