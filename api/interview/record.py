"""Taking an answer into the list of answers, and keeping the list one that can be diagnosed."""

import re
from collections.abc import Sequence

from api.cases.case import Json
from api.interview.desk import Desk
from api.interview.state import Entry, Inquiry, inquiry_of
from engine import Fault, RequestError
from engine.reasoning.request import read_request

_PLACE = re.compile(r"^findings\[(\d+)\](?:\.(\w+))?")


class Refused(ValueError):  # noqa: N818 - the engine refused it; nothing is broken
    """An answer cannot be taken; the messages say why, in the engine's words."""

    def __init__(self, messages: Sequence[str]) -> None:
        self.messages = list(messages)
        super().__init__("\n".join(messages))


def placed(entries: Sequence[Entry], entry: Entry, replaces: int | None) -> list[Entry]:
    """Return the answers with one more, or with one put in the place of another."""
    found = list(entries)
    if replaces is None:
        return [*found, entry]
    found[replaces] = entry
    return found


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
    places = [n for n, one in enumerate(entries) if one.kind == "machine" and one.key == field]
    return (places[-1] if places else None), field
