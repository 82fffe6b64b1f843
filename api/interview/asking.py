"""The question that stands, as blocks: cautions first, then what to say or do, then the answers."""

from api.answers.finding_words import observed
from api.answers.text import Line
from api.interview import views
from api.interview.desk import Desk
from api.interview.next_step import further_checks, prompt_of, target_of
from api.interview.order_page import order_page
from api.interview.questions import question, settings
from api.interview.state import Inquiry, State, Target, inquiry_of
from api.interview.turn import Block, Prompt, text

Asked = tuple[list[Block], frozenset[str]]


def question_blocks(state: State, desk: Desk) -> Asked:
    """Return what is asked now, and the cautions told with it."""
    case = inquiry_of(state.entries)
    target = target_of(state, desk)
    prompt = prompt_of(target, case, desk)
    match target.kind:
        case "check":
            return _check(state, case, target, prompt, desk)
        case "cure":
            return _cure(state, case, target, prompt, desk)
        case "repair":
            further = [str(one["name"]) for one in further_checks(case, desk)]
            return views.repair_choice(desk.answer(case), prompt, further), state.told
    return [*_plain(state, case, target, prompt, desk)], state.told


def _plain(state: State, case: Inquiry, target: Target, prompt: Prompt, desk: Desk) -> list[Block]:
    """Return a question that is no step at the machine and so has no caution."""
    if target.kind == "refer":
        because = desk.answer(case)["scope"]["because"]
        return [text(str(because), title="Not covered here"), _ending(case)]
    if target.kind == "end":
        return [*order_page(state.entries, desk), _ending(case)]
    return [_question(_said(case, target), prompt)]


def _said(case: Inquiry, target: Target) -> str:
    """Return the sentence of a question that is no step at the machine."""
    if target.kind == "machine":
        asked = settings().get(target.key.replace("_", "-"))
        return (asked or question(target.key, case.fields)).ask
    if target.kind == "settle":
        words = question("control", case.fields).words(target.key)
        return f"So the pull comes like this: '{words}'. Take it as the control type?"
    return {
        "leads": "What do the test leads read by themselves, tips touched together?",
        "place": "Where was the other lead?",
        "pick": "Which of these?",
    }[target.kind]


def _question(said: str, prompt: Prompt) -> Block:
    return Block("question", (Line(said), *views.question_lines(prompt)))


def _ending(case: Inquiry) -> Block:
    other = {"left": "right", "right": "left"}.get(case.side or "")
    more = f" Type side {other} for the other brake solenoid." if other else ""
    return text(f"That is all. Type summary, save FILE, back, change N, add CHECK or quit.{more}")


def _check(state: State, case: Inquiry, target: Target, prompt: Prompt, desk: Desk) -> Asked:
    """Return a step: its cautions before anything else."""
    row = desk.step(case, target.key)
    return views.step(row, prompt, case.audience, state.told, _heading(state, case, target, desk))


def _heading(state: State, case: Inquiry, target: Target, desk: Desk) -> str:
    """Return why this step is asked in a special way, or nothing."""
    if desk.ruled_out(case, target.key):
        return (
            "As things stand this check is ruled out: do not do it. Note only what was found "
            "before, or type back."
        )
    if target.replaces is not None:
        entry = state.entries[target.replaces]
        if entry.kind == "finding":
            return (
                f"Answer {target.replaces + 1} says: {observed(entry.value, desk.knowledge)}. Now?"
            )
    if target.asked_for:
        again = case.answered(target.key)
        return "It was answered before; this one counts beside that." if again else ""
    if case.answered(target.key):
        return "Asked once more: the first answer does not count, as was said above."
    if case.agreed is not None:
        return views.before_part(case, desk, case.agreed)
    return ""


def _cure(state: State, case: Inquiry, target: Target, prompt: Prompt, desk: Desk) -> Asked:
    blocks, told = views.repair_page(desk.answer(case), target.key, desk, case.audience, state.told)
    return [*blocks, _question("Is it put right, and did that cure it?", prompt)], told
