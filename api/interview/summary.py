"""The work order: all of an interview as plain text to paste."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from api.answers.text import Line, strength, sureness
from api.interview import views
from api.interview.desk import Answer, Desk, cause_of, lead
from api.interview.next_step import COMPLAINTS, FURTHER, everything
from api.interview.state import Entry, Inquiry, inquiry_of
from api.interview.turn import Block
from api.interview.wording import entry_words, finding_name, observed

LEAST_DB = 2.0  # lighter findings are left out of the evidence in short
EVIDENCE = 4
_MACHINE = ("duty", "control", "coil", "system_volts", "fuel_actuation", "solenoids", "fuse_amps",
            "pull_ohms", "hold_ohms", "ambient_celsius")  # fmt: skip


def summary(entries: Sequence[Entry], desk: Desk) -> list[Block]:
    """Return the work order, one part for each side that something was found on."""
    case = inquiry_of(entries)
    if "duty" not in case.fields:
        lines = [Line(entry_words(one, case.fields, desk), "-") for one in entries]
        return [Block("page", (Line("Nothing to go by yet."), *lines), "WORK ORDER NOTE")]
    cases = [_of_side(entries, case, side) for side in case.sides]
    lines = list(_machine(entries, case, desk))
    for one in cases:
        lines += _side(one, desk)
    lines += _cautions(cases, desk)
    version = desk.answer(cases[0])["knowledge_version"]
    lines.append(Line(f"Made with threewire, knowledge {version}."))
    return [Block("page", tuple(lines), "WORK ORDER NOTE")]


def _of_side(entries: Sequence[Entry], case: Inquiry, side: str | None) -> Inquiry:
    """Return the case as seen from one side."""
    if side is None or side == case.side:
        return case
    return inquiry_of([*entries, Entry("machine", "side", side)])


def _machine(entries: Sequence[Entry], case: Inquiry, desk: Desk) -> Iterator[Line]:
    label = case.fields.get("label")
    yield Line(f"Machine: {label or 'not said'}")
    last = {one.key: one for one in entries if one.kind == "machine"}
    for key in _MACHINE:
        if key in last:
            yield Line(entry_words(last[key], case.fields, desk), "-")


def _side(case: Inquiry, desk: Desk) -> Iterator[Line]:
    """Yield complaint, findings, cause, evidence, repair and what is left to do."""
    answer = desk.answer(case)
    complaint = COMPLAINTS[case.fields["duty"]]
    side = f", {case.side} side" if case.side else ""
    said = [observed(one, desk) for _, one in case.mine if one["check"] == complaint]
    yield Line(f"Complaint{side}: {'; '.join(said) or 'not said'}")
    findings = [(n, one) for n, (_, one) in enumerate(case.mine) if one["check"] != complaint]
    if findings:
        yield Line("Findings:")
    for place, one in findings:
        yield Line(f"{finding_name(one, desk)}: {observed(one, desk)}{_doubt(answer, place)}", "-")
    for name in case.excluded:
        yield Line(f"Put right without a cure: {desk.name(name)}")
    if not answer["scope"]["covered"]:
        yield Line(f"Not covered: {answer['scope']['because']}")
        return
    yield from _conclusion(case, answer, desk)


def _doubt(answer: Answer, place: int) -> str:
    if any(row["finding"] == place for row in answer["set_aside"]):
        return " [set aside, counts for nothing]"
    return " [doubtful, counts for less]" if any(
        row["finding"] == place for row in answer["weakened"]
    ) else ""  # fmt: skip


def _conclusion(case: Inquiry, answer: Answer, desk: Desk) -> Iterator[Line]:
    """Yield the cause with its evidence and repair, or the likeliest ones and what to do next."""
    chosen = case.cured or case.agreed
    entry = cause_of(answer, chosen) if chosen else lead(answer)
    if case.cured:
        yield Line(f"Cause, confirmed by the repair: {entry['name']}")
    else:
        yield Line(f"Cause, not confirmed: {entry['name']}, {sureness(entry['probability'])}")
        if case.agreed:
            yield Line("The repair below was chosen and is not reported done.")
        others = [one for one in answer["causes"] if one is not entry][:2]
        rest = "; ".join(f"{one['name']}, {sureness(one['probability'])}" for one in others)
        yield Line(f"Else: {rest}")
    for one in views.doubts(answer["fit"], case, desk):
        yield Line(f"Doubt: {one}")
    yield from _evidence(entry, desk)
    if not (case.cured or case.agreed):
        yield from _further(case, desk)
    yield from _repair(entry, answer, desk, done=bool(case.cured))


def _evidence(entry: Mapping[str, Any], desk: Desk) -> Iterator[Line]:
    heavy = [one for one in entry["evidence"] if abs(one["weight_db"]) >= LEAST_DB][:EVIDENCE]
    for one in heavy:
        sign = "for" if one["direction"] == "for" else "against"
        yield Line(
            f"{sign}: {desk.name(one['check'])}, {one['observed']} "
            f"(this cause {one['expected_if_cause']}, healthy {one['expected_if_healthy']}; "
            f"{strength(one['weight_db'])})", "-",
        )  # fmt: skip


def _further(case: Inquiry, desk: Desk) -> Iterator[Line]:
    """Yield the checks that are worth doing next by somebody with the full kit."""
    for one in everything(desk.answer(case))[:FURTHER]:
        yield Line(f"Check next ({one['kind']}, {one['minutes']:g} min): {one['name']}. "
                   f"{one['how']}", "[ ]")  # fmt: skip


def _repair(entry: Mapping[str, Any], answer: Answer, desk: Desk, done: bool) -> Iterator[Line]:
    yield Line(f"{'Repair done' if done else 'Repair'}: {entry['remedy']}")
    yield Line(f"Proof of repair: {entry['proof_of_repair']}")
    for one in views.behind(entry, desk):
        yield Line(f"Look behind it: {one}")
    if entry["before_replacing"]:
        names = "; ".join(map(desk.name, entry["before_replacing"]))
        yield Line(f"Before a part is fitted: {names}")
    for one in views.handing_back(answer):
        yield Line(f"Mind: {one}")


def _cautions(cases: Sequence[Inquiry], desk: Desk) -> Iterator[Line]:
    """Yield every caution of the machine, of the repair and of the checks named, once."""
    texts: dict[str, None] = {}
    for case in cases:
        answer = desk.answer(case)
        chosen = case.cured or case.agreed
        entry = cause_of(answer, chosen) if chosen else lead(answer)
        texts.update(dict.fromkeys(one["text"] for one in answer["cautions"]))
        if answer["scope"]["covered"]:
            texts.update(dict.fromkeys(entry["cautions"]))
            if not chosen:
                for check in everything(answer)[:FURTHER]:
                    texts.update(dict.fromkeys(check["cautions"]))
    yield Line("Cautions:")
    for one in texts:
        yield Line(one, "!")
