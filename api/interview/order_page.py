"""The work order as plain text to paste: all of an interview, one part for each side."""

from collections.abc import Iterator, Sequence

from api.answers.finding_words import named
from api.answers.text import Line, strength, sureness
from api.cases.work_order import OrderFinding, WorkOrder
from api.interview.contents import order_of
from api.interview.desk import Desk
from api.interview.next_step import COMPLAINTS
from api.interview.questions import machine_words
from api.interview.state import Entry, inquiry_of
from api.interview.turn import Block
from api.interview.wording import entry_words

_DOUBTS = {
    "": "", "Counts for less": " [doubtful, counts for less]",
    "Set aside, counts for nothing": " [set aside, counts for nothing]",
}  # fmt: skip


def order_page(entries: Sequence[Entry], desk: Desk) -> list[Block]:
    """Return the work order, one part for each side that something was found on."""
    inquiry = inquiry_of(entries)
    if "duty" not in inquiry.fields:
        lines = [Line(entry_words(one, inquiry.fields, desk), "-") for one in entries]
        return [Block("page", (Line("Nothing to go by yet."), *lines), "WORK ORDER NOTE")]
    orders = [order_of([*entries, *_looking_at(side)], desk) for side in inquiry.sides]
    cautions = dict.fromkeys(text for order in orders for text in order.cautions)
    lines = [
        Line(f"Machine: {orders[0].case.machine_type or 'not said'}"),
        *(Line(one, "-") for one in machine_words(inquiry.fields)),
        *(line for order in orders for line in _side(order)),
        Line("Cautions:"),
        *(Line(text, "!") for text in cautions),
        Line(f"Made with threewire, knowledge {orders[0].seen['knowledge_version']}."),
    ]
    return [Block("page", tuple(lines), "WORK ORDER NOTE")]


def _looking_at(side: str | None) -> list[Entry]:
    return [Entry("machine", "side", side)] if side else []


def _side(order: WorkOrder) -> Iterator[Line]:
    """Yield complaint, findings, cause, evidence, repair and what is left to do."""
    complaint = COMPLAINTS[order.case.machine["duty"]]
    said = [one.observed for one in order.findings if one.finding.check == complaint]
    side = f", {order.side} side" if order.side else ""
    yield Line(f"Complaint{side}: {'; '.join(said) or 'not said'}")
    found = [one for one in order.findings if one.finding.check != complaint]
    if found:
        yield Line("Findings:")
    yield from map(_finding, found)
    for cause in order.case.excluded:
        yield Line(f"Put right without a cure: {named(cause, order.knowledge)}")
    if order.covered:
        yield from _conclusion(order)
    else:
        yield Line(f"Not covered: {order.seen['scope']['because']}")


def _finding(one: OrderFinding) -> Line:
    return Line(f"{one.name}: {one.observed}{_DOUBTS[one.doubt]}", "-")


def _conclusion(order: WorkOrder) -> Iterator[Line]:
    """Yield the cause with its evidence and repair, or the likeliest ones and what to do next."""
    cause = order.cause
    if order.confirmed:
        yield Line(f"Cause, confirmed by the repair: {cause['name']}")
    else:
        yield Line(f"Cause, not confirmed: {cause['name']}, {sureness(cause['probability'])}")
        if order.chosen:
            yield Line("The repair below was chosen and is not reported done.")
        rest = (f"{one['name']}, {sureness(one['probability'])}" for one in order.others)
        yield Line(f"Else: {'; '.join(rest)}")
    yield from (Line(f"Doubt: {one}") for one in order.doubts)
    for one in order.evidence:
        yield Line(
            f"{one['direction']}: {named(one['check'], order.knowledge)}, {one['observed']} "
            f"(this cause {one['expected_if_cause']}, healthy {one['expected_if_healthy']}; "
            f"{strength(one['weight_db'])})", "-",
        )  # fmt: skip
    for one in order.checks:
        yield Line(f"Check next ({one['kind']}, {one['minutes']:g} min): {one['name']}. "
                   f"{one['how']}", "[ ]")  # fmt: skip
    yield from _repair(order)


def _repair(order: WorkOrder) -> Iterator[Line]:
    yield Line(f"{'Repair done' if order.confirmed else 'Repair'}: {order.cause['remedy']}")
    yield Line(f"Proof of repair: {order.cause['proof_of_repair']}")
    yield from (Line(f"Look behind it: {one}") for one in order.behind)
    if order.before:
        yield Line(f"Before a part is fitted: {'; '.join(order.before)}")
    yield from (Line(f"Mind: {one}") for one in order.handing_back)
