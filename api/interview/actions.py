"""What each command does."""

import difflib
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from api.answers.text import Line
from api.interview import views
from api.interview.commands import COMMANDS, TypedLine, understand
from api.interview.contents import accept, entry_words, finding_entry, last_place, placed
from api.interview.desk import lead
from api.interview.next_step import MAX_OPTIONS, prompt_of, target_of
from api.interview.questions import next_question, question, settings
from api.interview.readings import NotRead
from api.interview.state import Entry, Inquiry, InterviewState, NextStep, inquiry_of
from api.interview.turn import Block, Turn, error, text
from api.strict_json import Json
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.reasoning.request import ALL

if TYPE_CHECKING:
    from api.interview.session import Interview

Act = Callable[["Interview", InterviewState, str], Turn]

TIPS = (
    "Type the number of an answer, or the reading with its unit: 11.4 V, 320 mV, 1.2 kohm, open. "
    "0 or d: I don't know.",
    "Behind an answer, after a comma: leads 0.2 ohm, zeroed, to body, to ground pin, 60 C, plug "
    "on, plug off, key-on, crank, running, while shaken, while hot, while wet, no-peak-hold, hot, "
    "note TEXT. At rest: it was not shaken, hot or wet, though it was asked for so.",
)
_REASONS = {
    "leads": "Test leads have about as many ohms as a pull winding. What they read is taken off.",
    "place": "Where two wires go into the solenoid, the plug's ground pin is joined to nothing and "
    "reads open on a good part too.",
    "settle": "When the control type is known, fewer causes are left and each check is told "
    "at its right moment.",
    "repair": "A check costs minutes too. Here a repair is expected to come sooner to the end.",
    "cure": "Only a repair that cured, with its proof seen, settles the cause. If it did not "
    "cure, that cause is taken off the list, what was found before and the repair can have changed "
    "counts no more, and the search goes on.",
    "pick": "What you typed can mean any of these.",
}


def _refuse(state: InterviewState, message: str) -> Turn:
    return Turn(state, (error(message),), bad=True)


def _help(_talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    lines = [Line(what, f"{name} {rest}".strip() + ":") for name, (rest, what) in COMMANDS.items()]
    return Turn(state, (Block("page", (*map(Line, TIPS), *lines), "Help"),))


def _back(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    if state.target is not None:
        return talk.asking(replace(state, target=None), text("Left as it was."))
    if not state.entries:
        return _refuse(state, "There is nothing to take back yet.")
    after = state.undone()
    fields = inquiry_of(state.entries).fields
    gone = [one for one in state.entries if one not in after.entries]
    words = [f"Taken back: {entry_words(one, fields, talk.desk)}." for one in gone]
    page = [text(*(words or ["The change is taken back."]))]
    case = inquiry_of(after.entries)
    if next_question(case.fields) is None and case.case.findings:
        page.append(views.belief(talk.desk.answer(case), None))
    return talk.asking(after, *page)


def _change(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    number, _, words = rest.partition(" ")
    if not (number.isdecimal() and 1 <= int(number) <= len(state.entries)):
        said = f"There are {len(state.entries)} answers" if state.entries else "There is no answer"
        return _refuse(state, f"{said}. Type change and the number that 'list' shows.")
    place = int(number) - 1
    entry = state.entries[place]
    if entry.kind == "machine":
        return _ask_and_take(talk, state, NextStep("machine", entry.key, place), words)
    if entry.kind == "finding":
        return _ask_and_take(talk, state, NextStep("check", entry.key, place), words)
    kept = [one for n, one in enumerate(state.entries) if n != place]
    said = f"Taken out: {entry_words(entry, inquiry_of(state.entries).fields, talk.desk)}."
    return talk.asking(state.with_entries(kept), text(said))


def _ask_and_take(talk: "Interview", state: InterviewState, target: NextStep, words: str) -> Turn:
    """Ask something out of turn; an answer that stands behind the command is taken at once."""
    if not words:
        return talk.ask(state, target)
    taken = talk.step(replace(state, target=target), words)
    if not taken.bad:
        return taken
    asked = talk.ask(state, target)
    return Turn(asked.state, (*taken.blocks, *asked.blocks), bad=True)


def _add(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    case = inquiry_of(state.entries)
    if "duty" not in case.fields:
        return _refuse(state, "First say what the trouble is with: the engine or the brake.")
    checks = talk.desk.checks(case)
    if not rest:
        return Turn(state, (_all_checks(talk, checks),))
    name, words = _named(rest, [*checks, *settings()])
    if name in settings():
        field = name.replace("-", "_")
        place = last_place(state.entries, field)
        return _ask_and_take(talk, state, NextStep("machine", field, place), words)
    if name:
        return _ask_and_take(talk, state, NextStep("check", name, asked_for=True), words)
    return _add_near(talk, state, rest.split(maxsplit=1)[0], checks)


def _add_near(talk: "Interview", state: InterviewState, begun: str, checks: list[str]) -> Turn:
    """Ask the check that the beginning, a part or a misspelling of an id means, or which one."""
    near = _near(begun.lower(), checks)
    if len(near) == 1:
        return talk.ask(state, NextStep("check", near[0], asked_for=True))
    if near:
        return talk.ask(state, NextStep("pick", choices=tuple(near)))
    missing = unknown("check", begun, [*checks, *settings()])
    return _refuse(state, f"{missing}. 'add' alone lists all checks of this machine.")


def _named(typed: str, known: list[str]) -> tuple[str, str]:
    """Return the id that the words begin with and the words behind it, or two empty texts."""
    words = typed.split()
    for count in range(len(words), 0, -1):
        name = "-".join(words[:count]).lower()
        if name in known:
            return name, " ".join(words[count:])
    return "", ""


def _near(begun: str, checks: list[str]) -> list[str]:
    for found in (
        [one for one in checks if one.startswith(begun)],
        [one for one in checks if begun in one],
        difflib.get_close_matches(begun, checks, n=1, cutoff=0.9),
        difflib.get_close_matches(begun, checks, n=MAX_OPTIONS, cutoff=0.6),
    ):
        if found:
            return found[:MAX_OPTIONS]
    return []


def _all_checks(talk: "Interview", checks: list[str]) -> Block:
    rows: dict[str, list[str]] = {}
    for name in checks:
        rows.setdefault(talk.desk.knowledge.checks[name].kind, []).append(name)
    lines = [Line(", ".join(rows[kind]), f"{kind}:") for kind in items.KINDS if kind in rows]
    lines.append(Line(", ".join(settings()), "machine:"))
    return Block("page", tuple(lines), "What can be added")


def _why(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    case = inquiry_of(state.entries)
    target = target_of(state, talk.desk)
    if target.kind == "check":
        return Turn(state, (views.why(talk.desk.step(case, target.key), talk.desk),))
    if target.kind == "machine":
        return Turn(state, (text(question(target.key, case.fields).why),))
    return Turn(state, (text(_REASONS.get(target.kind, "Nothing is asked now.")),))


def _what_if(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    case = inquiry_of(state.entries)
    target = target_of(state, talk.desk)
    if target.kind != "check":
        return _refuse(state, "There is nothing to suppose at this question.")
    prompt = prompt_of(target, case, talk.desk)
    wanted = [rest] if rest else [one.key for one in prompt.options]
    if not wanted:
        return _refuse(state, f"Type what if and a reading: what if {views.EXAMPLES[prompt.unit]}.")
    rows = [_suppose(talk, state, target, one) for one in wanted]
    return Turn(state, (views.what_if(rows, talk.desk.answer(case)),))


def _suppose(
    talk: "Interview", state: InterviewState, target: NextStep, words: str
) -> tuple[str, Json]:
    """Return an answer in words and the diagnosis it would lead to. Raises NotRead, Refused."""
    case = inquiry_of(state.entries)
    typed = understand(words, prompt_of(target, case, talk.desk))
    if typed.kind not in ("option", "unsure", "words"):
        raise NotRead(typed.rest or f"'{words}' is no answer here.")
    finding = talk.finding(state, target, typed)
    if "value" in finding and "unit" not in finding:
        raise NotRead("Type the unit too, such as 11.4 V.")
    entry = finding_entry(case, talk.desk, finding)
    entries, _ = accept(*placed(state.entries, entry, target.replaces), talk.desk)
    said = entry_words(entry, case.fields, talk.desk).partition(": ")[2]
    return said, talk.desk.answer(inquiry_of(entries))


def _list(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    return Turn(state, (views.answers(state.entries, talk.desk),))


def _causes(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    case = inquiry_of(state.entries)
    if "duty" not in case.fields:
        return _refuse(state, "Nothing is known yet. First say what the trouble is with.")
    whole = talk.desk.diagnose({**case.request(), "evidence": ALL})
    return Turn(state, (views.causes(whole, talk.desk),))


def _skip(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    """Leave out what is asked: it is not known; what was asked out of turn stays as it was."""
    target = target_of(state, talk.desk)
    if target.kind == "check" and state.target is not None:
        return talk.asking(replace(state, target=None), text("Left as it was."))
    if target.kind in ("machine", "leads", "place", "check"):
        return talk.take(state, target, TypedLine("unsure"))
    return _refuse(state, "There is no check to skip here.")


def _field(talk: "Interview", state: InterviewState, field: str, value: object) -> Turn:
    place = last_place(state.entries, field)
    return talk.record(state, Entry("machine", field, value), place)


def _hands(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    if not rest:
        return talk.ask(state, NextStep("machine", "hands", last_place(state.entries, "hands")))
    words = rest.lower().replace(",", " ").split()
    wrong = [one for one in words if one not in (*items.KINDS, "all")]
    if wrong:
        return _refuse(state, f"{unknown('kind of check', wrong[0], items.KINDS)}. Type any of "
                       f"{', '.join(items.KINDS)}, or all.")  # fmt: skip
    kinds = None if "all" in words else [one for one in items.KINDS if one in words]
    return _field(talk, state, "hands", kinds)


def _side(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    if not inquiry_of(state.entries).two_sides:
        return _refuse(state, "This machine is not said to have two brake solenoids.")
    step = NextStep("machine", "side", last_place(state.entries, "side"))
    return _ask_and_take(talk, state, step, rest)


def _as(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    for audience in ("caller", "technician"):
        if rest and audience.startswith(rest.lower()):
            turn = _field(talk, state, "audience", audience)
            if state.target is None or not state.target.asked_for:
                return turn
            # the check that was asked for stays; what the other step would have told was not shown
            return talk.ask(replace(turn.state, told=state.told), state.target)
    return _refuse(state, "Type as caller for sentences to read out, or as technician.")


def _how(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    target = target_of(state, talk.desk)
    if target.kind != "check":
        return _refuse(state, "There is no check to explain here.")
    row = talk.desk.step(inquiry_of(state.entries), target.key)
    blocks, told = views.cautions(row["cautions"], state.told, views.caution_title("technician"))
    said = [*blocks, text(row["how"], title="How to do it"), text(f'Read out: "{row["say"]}"')]
    return Turn(replace(state, told=told), tuple(said))


def _cautions(talk: "Interview", state: InterviewState, _rest: str) -> Turn:
    case = inquiry_of(state.entries)
    if next_question(case.fields) is not None:
        return _refuse(state, "The cautions depend on the machine. Answer the questions first.")
    general = [one["text"] for one in talk.desk.answer(case)["cautions"]]
    again = talk.asking(replace(state, told=frozenset())).blocks
    step = [block for block in again if block.kind == "caution"]
    always, _ = views.cautions(general, frozenset(), "CAUTION. Always on this machine")
    return Turn(state, (*always, *step))


def _repair(talk: "Interview", state: InterviewState, rest: str) -> Turn:
    case = inquiry_of(state.entries)
    if next_question(case.fields) is not None:
        return _refuse(state, "First answer the questions about the machine.")
    known = [str(one["id"]) for one in talk.desk.answer(case)["causes"]]
    number = rest or "1"
    chosen = rest.lower().replace(" ", "-")
    if number.isdecimal() and 1 <= int(number) <= len(known):
        chosen = known[int(number) - 1]
    if chosen not in known:
        return _refuse(state, f"{unknown('cause', rest, known)}. 'causes' shows them all.")
    return talk.record(state, Entry("agree", chosen, side=case.side))


def decide(talk: "Interview", state: InterviewState, target: NextStep, value: object) -> Turn:
    """Take what was decided: a control type, a check, a course of repair, what came of it.

    ``value`` is None where that is not known: then nothing is decided, and one goes on without.
    """
    case: Inquiry = inquiry_of(state.entries)
    if target.kind == "pick":
        if value is None:
            return talk.asking(replace(state, target=None), text("Left as it was."))
        return talk.ask(state, NextStep("check", str(value), asked_for=True))
    if target.kind == "settle":
        yes, no = Entry("machine", "control", target.key), Entry("decline", "control")
        return talk.record(state, yes if value else no)
    answer = talk.desk.answer(case)
    if value == "stop" or (
        value is None and not (target.kind == "repair" and answer["next_checks"])
    ):
        return talk.record(state, Entry("stop", side=case.side))
    if target.kind == "cure":
        act = None if value == "cured" else {"cause": target.key}
        kept = Entry("not-cured" if act else "cured", target.key, act, case.side)
        return talk.record(state, kept)
    chosen = Entry("agree", str(value), side=case.side)
    declined = Entry("decline", str(lead(answer)["id"]), side=case.side)
    return talk.record(state, chosen if value else declined)


ACTS: dict[str, Act] = {
    "why": _why, "what if": _what_if, "back": _back, "change": _change, "add": _add,
    "list": _list,
    "causes": _causes, "skip": _skip, "hands": _hands, "side": _side, "as": _as, "how": _how,
    "cautions": _cautions, "repair": _repair, "again": lambda talk, state, _: talk.asking(state),
    "summary": lambda talk, state, _: Turn(state, tuple(talk.summary(state))),
    "help": _help,
    "save": lambda _talk, state, rest: Turn(state, save=rest),
    "quit": lambda _talk, state, _rest: Turn(state, quit=True),
}  # fmt: skip
