"""What is asked next, ready for the page: cautions first, then what to say, then the answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.answers.conclusions import behind, cause_of, hundredths
from api.desk import told
from api.desk.calls import Call
from api.interview.desk import lead
from api.interview.hearing import hear
from api.interview.next_step import (
    SURE,
    check_prompt,
    checks_before,
    further_checks,
    hands_over,
    heading,
    to_own_ground,
)
from api.interview.state import NextStep
from api.interview.views import example, first_sentence
from api.translation import gettext
from engine.knowledge import items

FEW_WORDS = 28  # of the cautions of a step in sight; one of the new is in full in any case
REMEDY_WORDS = 26  # of a remedy in sight
_SMALLER = {"V": ("V", "mV"), "A": ("A", "mA"), "s": ("s", "ms"),
            "ohm": ("ohm", "mohm", "kohm", "Mohm")}  # fmt: skip


@dataclass(frozen=True)
class StepCautions:
    """The cautions of a step, ``new`` to this browser or ``known`` to it; none is left out."""

    new: Sequence[str]
    known: Sequence[str]
    raised: Sequence[str]  # of ``new`` those of the whole case that something found raised
    own: Sequence[str]  # of ``new`` those of the step, the gravest first

    @property
    def whole(self) -> list[str]:
        """Return the new ones that stand in full: the gravest of each kind, and what is short."""
        begun = {one: len(first_sentence(one).split()) for one in (*self.new, *self.known)}
        usual = [one for one in self.new if one not in (*self.own, *self.raised)]
        room, found = FEW_WORDS - sum(begun.values()), list[str]()
        for one in (*self.raised, *self.own, *usual):
            more = len(one.split()) - begun[one]
            if more <= room or one in (*self.raised[:1], *self.own[:1]):
                found.append(one)
                room -= more
        return [one for one in self.new if one in found]

    @property
    def begun(self) -> list[str]:
        """Return those of which the page has the first sentence, and what to do behind a key."""
        whole = self.whole
        return [one for one in (*self.new, *self.known) if one not in whole]


def cautions_of(call: Call, texts: Sequence[str]) -> StepCautions:
    """Part the cautions of a step, and those of the whole case, by what this browser was told.

    What was found raises comes first, then the step's own, then what holds for the machine.
    What holds for the whole case and was told already stands at the foot of the page.
    """
    general = {one["id"]: one["text"] for one in call.answer["cautions"]}
    raised = [text for name, text in general.items()
              if not told.is_of_machine(call.desk.knowledge, name)]  # fmt: skip
    new = told.untold(call.case.number, [*raised, *texts, *general.values()])
    own = [one for one in texts if one in new and one not in general.values()]
    return StepCautions(
        new, [one for one in texts if one not in new], [one for one in raised if one in new],
        sorted(own, key=call.desk.gravity),
    )  # fmt: skip


def stop_cards(call: Call) -> list[Mapping[str, object]]:
    """Return the warnings of a case that stop the call until somebody says they were read out.

    ``lines`` are the danger, what to do at once and what to do then; ``next`` is what happens at
    the desk after that.
    """
    known, found = told.stops(), list[Mapping[str, object]]()
    for one in call.answer["cautions"]:
        if one["id"] in known:
            because = call.desk.knowledge.rules[one["id"]].because
            first, _, rest = because.next.partition(". ")
            lines = [line for line in (because.found, f"{first.rstrip('.')}.", rest) if line]
            said = {key: gettext(text) for key, text in known[one["id"]].items()}
            waits = bool(told.untold(call.case.number, [one["text"]]))
            found.append({**said, "mark": told.mark(one["text"]), "lines": lines, "waits": waits})
    return found


def ask(call: Call, name: str, replaces: int | None = None) -> Mapping[str, object]:
    """Return a check as it is asked on this machine; ``replaces`` is the answer it changes."""
    row, check = call.desk.step(call.inquiry, name), call.desk.knowledge.checks[name]
    old = call.finding(str(replaces)) if replaces else None
    step = NextStep("check", name, replaces - 1 if replaces else None, asked_for=True)
    unit = check.reading.unit if check.reading else ""
    return {
        "row": row, "check": check, "replaces": replaces,
        "cautions": cautions_of(call, row["cautions"]),
        "heading": heading(call.inquiry, call.desk, step, old.body if old else None),
        "choices": check_prompt(check, call.inquiry, call.desk).options,
        "units": _SMALLER.get(unit, ()), "example": example(unit) if unit else "",
        "quantity": check.reading.quantity if check.reading else "",
        # what the step asks to be done meanwhile; an answer that is changed has its own
        "provoked": (not replaces and row.get("while")) or "",
        "to_own_ground": to_own_ground(check),
    }  # fmt: skip


def repair(call: Call) -> Mapping[str, object]:
    """Return the repair that the answers point at, and what to do before a part is fitted.

    ``away`` is that somebody else goes on: nobody leads, or what leads is not put right here.
    """
    answer, desk, away = call.answer, call.desk, hands_over(call.answer)
    sure = lead(answer)["probability"] > SURE and not away
    first = str(lead(answer)["id"])
    order = [first] if sure else answer["advice"]["repair_order"] or [first]
    entry = cause_of(answer, order[0])
    before = checks_before(call.inquiry, desk, entry["id"])
    more = [one for one in entry["before_replacing"] if one not in before]
    return {
        "entry": entry, "begins": _begins(entry["remedy"]), "away": away,
        "because": "" if sure else answer["advice"]["because"] or "",
        "cautions": cautions_of(call, () if away else entry["cautions"]),
        "behind": behind(entry, desk.knowledge),
        "before": [(one, desk.name(one)) for one in before],
        "before_with_more": [desk.name(one) for one in more if not call.inquiry.answered(one)],
        "others": [one for one in answer["causes"] if one["id"] in order[1:4]],
        "further": further_checks(call.inquiry, desk), "still": answer["next_checks"],
    }  # fmt: skip


def _begins(remedy: str) -> str:
    """Return the first sentences of a remedy, as many as stand in sight; the first in any case."""
    first, *rest = remedy.split(". ")
    for more in rest:
        if len(f"{first} {more}".split()) > REMEDY_WORDS:
            return f"{first}."
        first = f"{first}. {more}"
    return first


def meanings(call: Call, name: str) -> list[tuple[str, str, str]]:
    """Return for every result of a check, in words, which cause would lead, and how likely."""
    outcomes = call.desk.knowledge.checks[name].outcomes
    words = outcomes.words if outcomes else {}
    return [
        (words.get(one.get("outcome", ""), one.get("reads") or one.get("outcome", "")),
         call.desk.name(first["cause"]), hundredths(first["probability"]))
        for one in call.desk.meanings(call.inquiry, name)
        for first in one["leaders"][:1]
    ]  # fmt: skip


def searched(call: Call, words: str) -> dict[str, list[tuple[str, str]]]:
    """Return the checks of this machine that have every word, by kind; all for no words.

    A check is found by what callers say of it, too: 'clicks', 'amp draw'.
    """
    wanted = words.lower().split()
    heard = hear(call.desk.knowledge, words, call.case.machine["duty"])
    meant = {one.check for one in (*heard.complaints, *heard.findings)}
    meant |= {one.id for one in heard.checks}
    found: dict[str, list[tuple[str, str]]] = {kind: [] for kind in items.KINDS}
    for name in call.desk.checks(call.inquiry):
        check = call.desk.knowledge.checks[name]
        text = f"{name} {name.replace('-', ' ')} {check.name} {check.say} {check.kind}".lower()
        if all(one in text for one in wanted) or name in meant:
            found[check.kind].append((name, check.name))
    return {kind: rows for kind, rows in found.items() if rows}
