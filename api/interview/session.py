"""The interview as a state machine: a state and a line in, a new state and text out."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from api.cases.case import Json
from api.interview import actions, moves, views
from api.interview.asking import question_blocks
from api.interview.commands import COMMANDS, Typed, understand
from api.interview.desk import Desk
from api.interview.next_step import prompt_of, target_of
from api.interview.order_page import order_page
from api.interview.questions import question, settings
from api.interview.readings import NotRead, Reading, details, leads_of, read_reading, unit_of
from api.interview.record import Refused, accept, finding_entry, placed
from api.interview.state import Entry, State, Target, inquiry_of
from api.interview.turn import Block, Prompt, Turn, error, text
from engine import Diagnoser

COIL_GROUND = "coil-ground"  # the node where the coil style has its ground
MAX_WORDS = 200  # characters of a machine's name that are kept
LEADS_MATTER_BELOW = 5.0  # ohms; below, the resistance of the test leads changes the verdict


class Interview:
    """Asks, takes answers, shows how the belief moves. No input or output, no clock."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self.desk = Desk(diagnoser)

    def open(self, state: State) -> Turn:
        """Return the first words and the first question; on a resumed state, where it stands."""
        blocks = [views.greeting()]
        if any(one.kind == "finding" for one in state.entries):
            blocks.append(actions.answers_block(self, state))
            blocks.append(views.belief(self.desk.answer(inquiry_of(state.entries)), None))
        return self.asking(state, *blocks)

    def given(self, state: State, entries: Sequence[Entry]) -> State:
        """Return the state with answers from the command line laid over its own."""
        found = list(state.entries)
        for entry in entries:
            places = [n for n, one in enumerate(found) if one.key == entry.key]
            found = placed(found, entry, places[-1] if places else None)
        return replace(state, entries=tuple(found))

    def step(self, state: State, line: str) -> Turn:
        """Take one line. What it was not understood for is said, and nothing is lost."""
        try:
            return self._step(state, plain(line))
        except NotRead as fault:
            return Turn(state, (error(str(fault)),), bad=True)
        except Refused as fault:
            return Turn(state, (error(*fault.messages),), bad=True)

    def _step(self, state: State, line: str) -> Turn:
        target = target_of(state, self.desk)
        prompt = self.prompt(state)
        typed = understand(line, prompt)
        if typed.kind == "command":
            return actions.run(self, state, typed)
        if typed.kind == "wrong":
            raise NotRead(typed.rest)
        if typed.kind == "empty" and not prompt.empty:
            return self.asking(state)
        return self.take(state, target, typed)

    def prompt(self, state: State) -> Prompt:
        """Return how the next line can be answered."""
        target = target_of(state, self.desk)
        return prompt_of(target, inquiry_of(state.entries), self.desk)

    def words(self, state: State) -> list[str]:
        """Return what can be completed at the prompt: commands, checks, answers."""
        case = inquiry_of(state.entries)
        checks = self.desk.checks(case) if "duty" in case.fields else []
        options = [str(one.value) for one in self.prompt(state).options]
        return [*COMMANDS, *options, *checks, *settings()]

    def summary(self, state: State) -> list[Block]:
        """Return the work order as it stands."""
        return order_page(state.entries, self.desk)

    def take(self, state: State, target: Target, typed: Typed) -> Turn:
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

    def _take_field(self, state: State, target: Target, typed: Typed) -> Turn:
        """Take an answer about the machine."""
        asked = settings().get(target.key.replace("_", "-"))
        asked = asked or question(target.key, inquiry_of(state.entries).fields)
        value = typed.value
        if typed.kind == "words":
            words = typed.rest[:MAX_WORDS]
            value = self._number(words, asked.number) if asked.number else words
        said = [text(asked.unsure)] if typed.kind == "unsure" and asked.unsure else []
        if typed.kind == "unsure" and asked.id == "duty":
            return self.asking(state, *said)
        return self.record(state, Entry("machine", asked.id, value), target.replaces, said)

    def _number(self, words: str, unit: str) -> float:
        reading = read_reading(words, ())
        if reading.value is None:
            raise NotRead("Type a number.")
        if reading.unit not in (None, unit, unit.lower(), "celsius"):
            raise NotRead(f"Type a number in {unit}.")
        return reading.value

    def _take_check(self, state: State, target: Target, typed: Typed) -> Turn:
        """Take an answer to a check: an outcome, a reading, or that it is not known."""
        finding = self.finding(target, typed)
        check = self.desk.knowledge.checks[target.key]
        unit = check.reading.unit if check.reading is not None else ""
        if "value" in finding and "unit" not in finding:
            partial = {"value": finding["value"], **finding}
            asked = replace(target, partial=partial)
            units = f"{unit}, m{unit}" + (f", k{unit}" if unit == "ohm" else "")
            shown = f"{finding['value']:g}"
            return Turn(
                replace(state, target=asked),
                (text(f"{shown} what? Type the unit: {units}. Or type the reading again."),),
            )
        missing = self._missing(finding)
        if missing is None:
            return self.take_finding(state, target, finding)
        entries = placed(state.entries, self._entry(state, target, finding), target.replaces)
        place = len(entries) - 1 if target.replaces is None else target.replaces
        accept(entries, place, self.desk)  # a reading that is refused is refused at once
        return self.ask(state, Target(missing, target.key, target.replaces, finding))

    def finding(self, target: Target, typed: Typed) -> Json:
        """Return what was typed as a finding of the check that is asked. Raises NotRead."""
        tags = self.desk.knowledge.rows("circumstances")
        if typed.kind == "unsure":
            return {"check": target.key, "outcome": "not-known"}
        if typed.kind == "option":
            return {"check": target.key, "outcome": typed.value, **details(typed.details, tags)}
        partial = target.partial
        if partial is not None and typed.rest[0] not in "0123456789.-+":
            return {**partial, "unit": unit_of(typed.rest)}
        reading: Reading = read_reading(typed.rest, tags)
        return reading.finding(target.key)

    def _missing(self, finding: Json) -> Literal["leads", "place"] | None:
        """Return what else has to be known of a reading in ohms, if anything.

        Of a few ohms, what the leads read; of an open winding, where the other lead was.
        """
        reading = self.desk.knowledge.checks[finding["check"]].reading
        if reading is None or reading.quantity != "resistance":
            return None
        if finding.get("outcome") == "open":
            to_own_ground = COIL_GROUND in reading.to_node.values()
            return "place" if to_own_ground and "measured_to" not in finding else None
        ohms = {"ohm": 1.0, "mohm": 1e-3}.get(finding.get("unit", ""))
        known = "lead_ohms" in finding or "leads-not-zeroed" in finding.get("circumstances", ())
        if ohms is None or known or finding["value"] * ohms >= LEADS_MATTER_BELOW:
            return None
        return "leads"

    def _take_remark(self, state: State, target: Target, typed: Typed) -> Turn:
        """Take what the leads read or where one stood, and with it the reading that waits."""
        finding = dict(target.partial or {})
        unsure = typed.kind == "unsure" or typed.rest == "0"
        if target.kind == "leads" and not unsure:
            finding["lead_ohms"] = leads_of(typed.rest)
        elif not unsure:
            finding["measured_to"] = typed.value
        return self.take_finding(state, target, finding)

    def take_finding(self, state: State, target: Target, finding: Json) -> Turn:
        """Record a finding."""
        return self.record(state, self._entry(state, target, finding), target.replaces)

    def _entry(self, state: State, target: Target, finding: Json) -> Entry:
        """Return a finding as an answer; one that is changed stays on its side."""
        if target.replaces is not None:
            old = state.entries[target.replaces].value
            if isinstance(old, dict) and "side" in old:
                finding = {"side": old["side"], **finding}
        return finding_entry(inquiry_of(state.entries), self.desk, finding)

    def record(
        self, state: State, entry: Entry, replaces: int | None = None, said: Sequence[Block] = ()
    ) -> Turn:
        """Take an answer into the list, say what it brought about, and ask the next thing.

        Raises Refused when the engine does not take it.
        """
        entries = placed(state.entries, entry, replaces)
        place = len(entries) - 1 if replaces is None else replaces
        entries, dropped = accept(entries, place, self.desk)
        entries = moves.reopened(entries, entry, self.desk)
        after = state.with_entries(entries)
        brought, told = moves.moved(state, after, entry, self.desk)
        left_out = [text(*dropped, title="No longer fits, and was left out")] if dropped else []
        page = [*said, *left_out, *brought, *moves.put_off(entries, self.desk)]
        return self.asking(replace(after, told=told), *page)

    def ask(self, state: State, target: Target) -> Turn:
        """Ask something out of turn."""
        return self.asking(replace(state, target=target))

    def asking(self, state: State, *before: Block) -> Turn:
        """Return what is asked next, behind what there is to say before."""
        blocks, told = question_blocks(state, self.desk)
        return Turn(replace(state, told=told), (*before, *blocks))


def plain(line: str) -> str:
    """Return a line without half surrogates and control characters, whatever was typed."""
    line = line.encode("utf-8", "replace").decode("utf-8")
    return "".join(sign if sign.isprintable() else " " for sign in line)
