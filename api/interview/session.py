"""The interview as a state machine: a state and a line in, a new state and text out."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from api.interview import actions, views
from api.interview.commands import COMMANDS, TypedLine, understand
from api.interview.contents import Refused, accept, finding_entry, placed
from api.interview.desk import Desk
from api.interview.next_step import (
    COMPLAINTS,
    further_checks,
    heading,
    holds,
    prompt_of,
    target_of,
    to_own_ground,
)
from api.interview.questions import next_question, question, settings
from api.interview.readings import NotRead, details, leads_of, number_in, read_reading, unit_of
from api.interview.state import Entry, Inquiry, InterviewState, NextStep, inquiry_of
from api.interview.turn import Block, Prompt, Turn, error, text
from api.strict_json import Json
from engine import Diagnoser

MAX_WORDS = 200  # characters of a machine's name that are kept
LEADS_MATTER_BELOW = 5.0  # ohms; below, the resistance of the test leads changes the verdict
_WORDING = ("audience", "label", "hands")  # fields that change no belief
_FIRST = "CAUTION. This comes first"
_PLAIN = {
    "leads": "What do the test leads read by themselves, tips touched together?",
    "place": "Where was the other lead?",
    "pick": "Which of these?",
}


class Interview:
    """Asks, takes answers, shows how the belief moves. No input or output, no clock."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self.desk = Desk(diagnoser)

    def open(self, state: InterviewState) -> Turn:
        """Return the first words and the first question; on a resumed state, where it stands."""
        if not any(one.kind == "finding" for one in state.entries):
            return self.asking(state, views.greeting())
        answer = self.desk.answer(inquiry_of(state.entries))
        first, told = views.cautions(views.urgent(answer, None), state.told, _FIRST)
        blocks = [views.answers(state.entries, self.desk), views.belief(answer, None)]
        return self.asking(replace(state, told=told), *first, views.greeting(), *blocks)

    def given(self, state: InterviewState, entries: Sequence[Entry]) -> InterviewState:
        """Return the state with answers from the command line laid over its own."""
        found = list(state.entries)
        for entry in entries:
            places = [n for n, one in enumerate(found) if one.key == entry.key]
            found, _ = placed(found, entry, places[-1] if places else None)
        return replace(state, entries=tuple(found))

    def step(self, state: InterviewState, line: str) -> Turn:
        """Take one line. What it was not understood for is said, and nothing is lost."""
        try:
            return self._step(state, plain(line))
        except NotRead as fault:
            return Turn(state, (error(str(fault)),), bad=True)
        except Refused as fault:
            return Turn(state, (error(*fault.messages),), bad=True)

    def _step(self, state: InterviewState, line: str) -> Turn:
        prompt = self.prompt(state)
        typed = understand(line, prompt)
        if typed.kind == "command":
            return actions.ACTS[typed.name](self, state, typed.rest)
        if typed.kind == "wrong":
            raise NotRead(typed.rest)
        if typed.kind == "empty" and not prompt.empty:
            return self.asking(state)
        return self.take(state, target_of(state, self.desk), typed)

    def prompt(self, state: InterviewState) -> Prompt:
        """Return how the next line can be answered."""
        return prompt_of(target_of(state, self.desk), inquiry_of(state.entries), self.desk)

    def words(self, state: InterviewState) -> list[str]:
        """Return what can be completed at the prompt: commands, answers, checks, settings."""
        case = inquiry_of(state.entries)
        checks = self.desk.checks(case) if "duty" in case.fields else []
        options = [str(one.value) for one in self.prompt(state).options]
        return [*COMMANDS, *options, *checks, *settings()]

    def summary(self, state: InterviewState) -> list[Block]:
        """Return the work order as it stands."""
        return views.order_page(state.entries, self.desk)

    def take(self, state: InterviewState, target: NextStep, typed: TypedLine) -> Turn:
        """Take an answer to what was asked."""
        match target.kind:
            case "machine":
                return self._take_field(state, target, typed)
            case "check":
                return self._take_check(state, target, typed)
            case "leads" | "place":
                return self._take_remark(state, target, typed)
            case "settle" | "pick" | "repair" | "cure":
                return actions.decide(self, state, target, typed.value)
        raise NotRead("Nothing is asked now. Type summary, save, back, change, add or quit.")

    def _take_field(self, state: InterviewState, target: NextStep, typed: TypedLine) -> Turn:
        asked = question(target.key, inquiry_of(state.entries).fields)
        value = typed.value
        if typed.kind == "words":
            words = typed.rest[:MAX_WORDS]
            value = number_in(words, asked.number) if asked.number else words
        said = [text(asked.unsure)] if typed.kind == "unsure" and asked.unsure else []
        if typed.kind == "unsure" and asked.id == "duty":
            return self.asking(state, *said)
        return self.record(state, Entry("machine", asked.id, value), target.replaces, said)

    def _take_check(self, state: InterviewState, target: NextStep, typed: TypedLine) -> Turn:
        """Take an answer to a check: an outcome, a reading, or that it is not known."""
        finding = self.finding(state, target, typed)
        if "value" in finding and "unit" not in finding:
            return self._which_unit(state, target, finding)
        missing = self._missing(finding)
        entry = self._entry(state, target, finding)
        if missing is None:
            return self.record(state, entry, target.replaces)
        # a reading that is refused is refused at once
        accept(*placed(state.entries, entry, target.replaces), self.desk)
        return self.ask(state, NextStep(missing, target.key, target.replaces, finding))

    def _which_unit(self, state: InterviewState, target: NextStep, finding: Json) -> Turn:
        reading = self.desk.knowledge.checks[target.key].reading
        unit = reading.unit if reading is not None else ""
        units = f"{unit}, m{unit}" + (f", k{unit}" if unit == "ohm" else "")
        said = f"{finding['value']:g} what? Type the unit: {units}. Or type the reading again."
        return Turn(replace(state, target=replace(target, partial=finding)), (text(said),))

    def finding(self, state: InterviewState, target: NextStep, typed: TypedLine) -> Json:
        """Return what was typed as a finding of the check that is asked. Raises NotRead.

        What the step asked to be done meanwhile is kept with it, unless something else was typed.
        """
        tags = self.desk.knowledge.rows("circumstances")
        if typed.kind == "unsure":
            return {"check": target.key, "outcome": "not-known"}
        found: Json
        if typed.kind == "option":
            found = {"check": target.key, "outcome": typed.value, **details(typed.details, tags)}
        elif target.partial is not None and typed.rest[0] not in "0123456789.-+":
            return {**target.partial, "unit": unit_of(typed.rest)}
        else:
            found = read_reading(typed.rest, tags).finding(target.key)
        whole = {**found, "while": found.get("while", self._provoked(state, target))}
        return {name: one for name, one in whole.items() if one is not None}

    def _provoked(self, state: InterviewState, target: NextStep) -> str | None:
        """Return what brings the fault on at the step asked; of a change, at the old answer."""
        old = state.entries[target.replaces] if target.replaces is not None else None
        if old is not None and old.kind == "finding":
            return str(old.value["while"]) if "while" in old.value else None
        return self.desk.provoked(inquiry_of(state.entries), target.key)

    def _missing(self, finding: Json) -> Literal["leads", "place"] | None:
        """Return what else has to be known of a reading in ohms, if anything.

        Of a few ohms, what the leads read; of an open winding, where the other lead was.
        """
        check = self.desk.knowledge.checks[finding["check"]]
        if check.reading is None or check.reading.quantity != "resistance":
            return None
        if finding.get("outcome") == "open":
            return "place" if to_own_ground(check) and "measured_to" not in finding else None
        ohms = {"ohm": 1.0, "mohm": 1e-3}.get(finding.get("unit", ""))
        known = "lead_ohms" in finding or "leads-not-zeroed" in finding.get("circumstances", ())
        if ohms is None or known or finding["value"] * ohms >= LEADS_MATTER_BELOW:
            return None
        return "leads"

    def _take_remark(self, state: InterviewState, target: NextStep, typed: TypedLine) -> Turn:
        finding = dict(target.partial or {})
        unsure = typed.kind == "unsure" or typed.rest == "0"
        if target.kind == "leads" and not unsure:
            finding["lead_ohms"] = leads_of(typed.rest)
        elif not unsure:
            finding["measured_to"] = typed.value
        return self.record(state, self._entry(state, target, finding), target.replaces)

    def _entry(self, state: InterviewState, target: NextStep, finding: Json) -> Entry:
        """Return a finding as an answer; one that is changed stays on its side."""
        if target.replaces is not None:
            old = state.entries[target.replaces].value
            if isinstance(old, dict) and "side" in old:
                finding = {"side": old["side"], **finding}
        return finding_entry(inquiry_of(state.entries), self.desk, finding)

    def record(
        self, state: InterviewState, entry: Entry, replaces: int | None = None,
        said: Sequence[Block] = (),
    ) -> Turn:  # fmt: skip
        """Take an answer into the list, say what it brought about, and ask the next thing.

        Raises Refused when the engine does not take it.
        """
        entries, dropped = accept(*placed(state.entries, entry, replaces), self.desk)
        put_off = self._put_off(entries, entry)
        after = state.with_entries([*entries, *put_off])
        brought, told = self._moved(state, after, entry)
        page = [*said, *brought]
        if dropped:
            page.insert(len(said), text(*dropped, title="No longer fits, and was left out"))
        page += [text(f"{self.desk.name(one.key)} is no longer the likeliest: that repair is put "
                      "off.") for one in put_off]  # fmt: skip
        return self.asking(replace(after, told=told), *page)

    def _put_off(self, entries: Sequence[Entry], new: Entry) -> list[Entry]:
        """Return the end of an agreed repair where its cause is no longer the one."""
        case = inquiry_of(entries)
        evidence = new.kind in ("finding", "machine")
        if not evidence or case.agreed is None or next_question(case.fields) is not None:
            return []
        if holds(case, self.desk, case.agreed):
            return []
        return [Entry("reopen", case.agreed, side=case.side)]

    def _moved(
        self, before: InterviewState, after: InterviewState, new: Entry
    ) -> tuple[list[Block], frozenset[str]]:
        case = inquiry_of(after.entries)
        if next_question(case.fields) is not None:
            return [], after.told
        old = self._answer_before(inquiry_of(before.entries), case)
        answer = self.desk.answer(case)
        title = "CAUTION. Always on this machine" if old is None else _FIRST
        blocks, told = views.cautions(views.urgent(answer, old), after.told, title)
        if new.kind == "not-cured":
            blocks.append(text(
                f"{self.desk.name(new.key)} is put right and off the list. What was found before "
                "and the repair can have changed counts no more."
            ))  # fmt: skip
        evidence = new.kind in ("finding", "not-cured") or (
            new.kind == "machine" and new.key not in _WORDING
        )
        if evidence and answer["scope"]["covered"]:
            blocks += views.told(answer, old, case, self.desk)
            if case.answered(COMPLAINTS[case.fields["duty"]]):
                blocks.append(views.belief(answer, old))
        return blocks, told

    def _answer_before(self, old: Inquiry, case: Inquiry) -> Json | None:
        """Return the diagnosis before the answer, unless the machine or side was another one."""
        if next_question(old.fields) is not None or old.side != case.side:
            return None
        return self.desk.answer(old)

    def ask(self, state: InterviewState, target: NextStep) -> Turn:
        """Ask something out of turn."""
        return self.asking(replace(state, target=target))

    def asking(self, state: InterviewState, *before: Block) -> Turn:
        """Return what is asked next, behind what there is to say before: cautions come first."""
        case = inquiry_of(state.entries)
        target = target_of(state, self.desk)
        prompt = prompt_of(target, case, self.desk)
        told = state.told
        if target.kind == "check":
            row = self.desk.step(case, target.key)
            changed = state.entries[target.replaces] if target.replaces is not None else None
            finding = changed.value if changed and changed.kind == "finding" else None
            why = heading(case, self.desk, target, finding)
            blocks, told = views.step(row, prompt, case.audience, told, why)
        elif target.kind == "cure":
            answer = self.desk.answer(case)
            blocks, told = views.repair_page(answer, target.key, self.desk, case.audience, told)
            blocks.append(views.question("Is it put right, and did that cure it?", prompt))
        else:
            blocks = self._plain(state, case, target, prompt)
        return Turn(replace(state, told=told), (*before, *blocks))

    def _plain(
        self, state: InterviewState, case: Inquiry, target: NextStep, prompt: Prompt
    ) -> list[Block]:
        """Return a question that is no step at the machine and so has no caution."""
        match target.kind:
            case "repair":
                further = further_checks(case, self.desk)
                return [views.repair_choice(self.desk.answer(case), prompt, further)]
            case "refer":
                because = str(self.desk.answer(case)["scope"]["because"])
                return [text(because, title="Not covered here"), _ending(case)]
            case "end":
                return [*self.summary(state), _ending(case)]
            case "machine":
                return [views.question(question(target.key, case.fields).ask, prompt)]
            case "settle":
                words = question("control", case.fields).words(target.key)
                said = f"So the pull comes like this: '{words}'. Take it as the control type?"
                return [views.question(said, prompt)]
        return [views.question(_PLAIN[target.kind], prompt)]


def _ending(case: Inquiry) -> Block:
    other = {"left": "right", "right": "left"}.get(case.side or "")
    more = f" Type side {other} for the other brake solenoid." if other else ""
    return text(f"That is all. Type summary, save FILE, back, change N, add CHECK or quit.{more}")


def plain(line: str) -> str:
    """Return a line without half surrogates and control characters, whatever was typed."""
    line = line.encode("utf-8", "replace").decode("utf-8")
    return "".join(sign if sign.isprintable() else " " for sign in line)
