"""What an answer brought about: cautions it raised, what it says, how the belief moved."""

from collections.abc import Sequence

from api.interview import views
from api.interview.desk import Answer, Desk
from api.interview.next_step import COMPLAINTS, holds
from api.interview.questions import next_question
from api.interview.state import Entry, Inquiry, State, inquiry_of
from api.interview.turn import Block, text


def reopened(entries: Sequence[Entry], new: Entry, desk: Desk) -> list[Entry]:
    """Return the answers, an agreed repair put off where its cause is no longer the one."""
    case = inquiry_of(entries)
    evidence = new.kind in ("finding", "machine")
    if not evidence or case.agreed is None or next_question(case.fields) is not None:
        return list(entries)
    if holds(case, desk, case.agreed):
        return list(entries)
    return [*entries, Entry("reopen", case.agreed, side=case.side)]


def moved(
    before: State, after: State, new: Entry, desk: Desk
) -> tuple[list[Block], frozenset[str]]:
    """Return what an answer brought about, and the cautions told by then."""
    case = inquiry_of(after.entries)
    if next_question(case.fields) is not None:
        return [], after.told
    old = _answer_before(before, case, desk)
    answer = desk.answer(case)
    raised = views.urgent(answer, old)
    title = "CAUTION. Always on this machine" if old is None else "CAUTION. This comes first"
    blocks, told = views.cautions(raised, after.told, title)
    blocks += _what_changed(new, case, answer, desk)
    if new.kind in ("finding", "machine", "skip", "not-cured"):
        blocks += _belief(new, case, answer, old, desk)
    return blocks, told


def _answer_before(before: State, case: Inquiry, desk: Desk) -> Answer | None:
    """Return the diagnosis before the answer, unless the machine or side was another one."""
    old = inquiry_of(before.entries)
    if next_question(old.fields) is not None or old.side != case.side:
        return None
    return desk.answer(old)


def _what_changed(new: Entry, case: Inquiry, answer: Answer, desk: Desk) -> list[Block]:
    if new.kind == "not-cured":
        return [text(
            f"{desk.name(new.key)} is put right and off the list. Where the repair changed a "
            "reading, change that answer: list shows the numbers."
        )]  # fmt: skip
    return []


def _belief(
    new: Entry, case: Inquiry, answer: Answer, old: Answer | None, desk: Desk
) -> list[Block]:
    """Return the news, and the leading causes once there is a complaint to go by."""
    wording_only = new.kind == "machine" and new.key in ("audience", "label", "hands")
    if new.kind == "skip" or wording_only or not answer["scope"]["covered"]:
        return []
    found = views.news(answer, old, case, desk)
    if case.answered(COMPLAINTS[case.fields["duty"]]):
        found.append(views.belief(answer, old))
    return found


def put_off(entries: Sequence[Entry], desk: Desk) -> list[Block]:
    """Return the words for a repair that was just put off."""
    last = entries[-1]
    if last.kind != "reopen":
        return []
    return [text(f"{desk.name(last.key)} is no longer the likeliest: that repair is put off.")]
