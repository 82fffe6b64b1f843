"""What the interview says at each step, as blocks of plain sentences."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from api.answers import conclusions
from api.answers.conclusions import cause_of, hundredths, in_100
from api.answers.text import Line, sections_of, strength, sureness, templates
from api.interview.contents import entry_words, order_of, side_looked_at
from api.interview.desk import Desk, lead, probabilities
from api.interview.next_step import COMPLAINTS, SURE, hands_over
from api.interview.questions import machine_words
from api.interview.state import Entry, Inquiry, inquiry_of
from api.interview.turn import Block, Prompt, text
from api.strict_json import Json
from api.translation import gettext
from engine import Knowledge

BAR = 10
SHOWN_CAUSES = 3
LEAST_SHOWN = 0.01
LEAST_DB = 1.0  # lighter findings say nothing to a person

EXAMPLES = {"V": "11.4 V", "A": "3.1 A", "ohm": "0.5 ohm", "s": "0.8 s", "C": "15"}
_DOUBTS = {"Counts for less": "doubtful, counts for less",
           "Set aside, counts for nothing": "set aside, counts for nothing"}  # fmt: skip


def movement(now: float, before: float | None) -> str:
    """Return in words how a belief moved; what rounds to the same is as before."""
    if before is None:
        return ""
    was = in_100(before)
    if was == in_100(now):
        return gettext("as before")
    return (
        gettext("up from %(was)s", was=was)
        if now > before
        else gettext("down from %(was)s", was=was)
    )


def first_sentence(caution: str) -> str:
    """Return what a caution begins with, which is what to mind."""
    return caution.split(". ", maxsplit=1)[0].rstrip(".") + "."


def belief(answer: Json, before: Json | None, title: str = "Likeliest now:") -> Block:
    """Return the leading causes, how likely each is and which way it moved.

    A belief is drawn as ten signs that need no colour: '[####......]'.
    """
    known = probabilities(before) if before else {}
    lines = []
    for n, one in enumerate(answer["causes"][:SHOWN_CAUSES], start=1):
        p = float(one["probability"])
        moved = movement(p, known.get(one["id"]))
        full = round(p * BAR)
        said = ", ".join(filter(None, (hundredths(p), moved)))
        lines.append(Line(f"[{'#' * full}{'.' * (BAR - full)}] {said}: {one['name']}", f"{n}."))
    together = [one for one in answer["causes"] if one["group"] == lead(answer)["group"]]
    if len(together) > 1:
        first = f"The first {len(together)} cannot be told apart yet"
        lines.append(Line(f"{first}; the order is how often each occurs."))
    return Block("belief", tuple(lines), title)


def cautions(
    texts: Iterable[str], told: frozenset[str], title: str
) -> tuple[list[Block], frozenset[str]]:
    """Return cautions, new ones in full and known ones by their first sentence, and what is told.

    None is left out: a known one is shortened so that a new one is not overlooked.
    """
    texts = list(dict.fromkeys(texts))
    known = [first_sentence(one) for one in texts if one in told]
    lines = [Line(one, "-") for one in texts if one not in told]
    if known:
        lines.append(Line(f"As before: {' '.join(known)} (cautions: in full)", "-"))
    return ([Block("caution", tuple(lines), title)] if lines else []), told | set(texts)


def urgent(answer: Json, before: Json | None) -> list[str]:
    """Return the cautions that the last answer raised; all of them when there was none before."""
    known = {one["id"] for one in before["cautions"]} if before else set()
    return [one["text"] for one in answer["cautions"] if one["id"] not in known]


class News(NamedTuple):
    """What an answer brought about: findings in doubt, notes, what is proved good."""

    doubted: list[str]
    notes: list[str]
    proved: list[str]


def news(answer: Json, before: Json | None, case: Inquiry, knowledge: Knowledge) -> News:
    """Return what an answer brought about in a case, against the answer before."""
    known = {row["rule"] for row in _rows(before, "notes")}
    known |= {row["rule"] for row in _rows(answer, "set_aside", "weakened")}
    resting = {row["rule"] for row in answer["trace"] if row["findings"]} - known
    less = gettext("Counts for less: %(because)s Instead: %(instead)s")
    nothing = gettext("Set aside, counts for nothing: %(because)s Instead: %(instead)s")
    doubted = [
        (less if "keep" in row else nothing) % row
        for row in _new(answer, before, "set_aside", "weakened")
    ]
    notes = [_note(one, case, knowledge) for one in answer["notes"] if one["rule"] in resting]
    proved = [gettext("Proved good: %(what)s", what=one["says"])
              for one in _new(answer, before, "proofs")]  # fmt: skip
    return News(doubted, notes, proved)


def _note(note: Json, case: Inquiry, knowledge: Knowledge) -> str:
    """Return a note in words; of a check that it wants and that is answered it says so."""
    wanted = [check for act in knowledge.programs[note["rule"]].actions if act.kind == "ask_first"
              for check in act.about]  # fmt: skip
    known = [knowledge.checks[one].name for one in wanted if case.answered(one)]
    said = f"{note['found']} {note['points']} {note['next']}"
    if not known:
        return said
    return f"{said} {gettext('Answered already: %(checks)s.', checks='; '.join(known))}"


def _rows(answer: Json | None, *names: str) -> list[Json]:
    return [row for name in names for row in answer[name]] if answer else []


def _new(answer: Json, before: Json | None, *names: str) -> list[Json]:
    known = {(row.get("finding"), row["rule"]) for row in _rows(before, *names)}
    return [row for row in _rows(answer, *names) if (row.get("finding"), row["rule"]) not in known]


def told(answer: Json, before: Json | None, case: Inquiry, desk: Desk) -> list[Block]:
    """Return what an answer brought about and what does not fit, as a block."""
    lines = [one for part in news(answer, before, case, desk.knowledge) for one in part]
    if before is None or before["fit"] != answer["fit"]:
        lines += _doubts(answer["fit"], case, desk)
    said = tuple(Line(one, "-") for one in lines)
    return [Block("text", said, "What that says:")] if said else []


def _doubts(fit: Json, case: Inquiry, desk: Desk) -> list[str]:
    """Return what does not fit, each finding by the number that ``change`` takes."""

    def numbered(index: int) -> str:
        if index >= len(case.behind):
            return ""
        finding = case.behind[index]
        return gettext(
            "answer %(place)d, %(check)s", place=finding.place, check=desk.name(finding.check)
        )

    return conclusions.doubts(fit, desk.knowledge, numbered)


def example(unit: str) -> str:
    """Return how a number of a unit is typed; it must not look like the reading to expect."""
    return gettext("0.5 ohm, 18 ohm or 2.2 Mohm") if unit == "ohm" else EXAMPLES[unit]


def question_lines(prompt: Prompt) -> list[Line]:
    """Return the answers there are, or how to type one."""
    lines = [Line(one.words, f"  {one.key} ") for one in prompt.options]
    if prompt.options and prompt.unsure:
        lines.append(Line("I don't know", "  0 "))
    if prompt.kind in ("reading", "number"):
        over = " Type open when the meter is over range." if prompt.unit == "ohm" else ""
        unit = "with its unit, " if prompt.kind == "reading" else ""
        lines.append(Line(f"Type the number {unit}such as {example(prompt.unit)}.{over} "
                          "Type d when you don't know."))  # fmt: skip
    if prompt.hint:
        lines.append(Line(f"{prompt.hint}."))
    return lines


def question(said: str, prompt: Prompt) -> Block:
    """Return a question with the answers there are."""
    return Block("question", (Line(said), *question_lines(prompt)))


def caution_title(audience: str) -> str:
    """Return what stands over the cautions of a step."""
    return f"CAUTION. {'Before you start' if audience == 'technician' else 'Read this out first'}"


def step(
    row: Json, prompt: Prompt, audience: str, told: frozenset[str], heading: str = ""
) -> tuple[list[Block], frozenset[str]]:
    """Return a check: its cautions before anything else, then what to say or do, the answers."""
    blocks, told = cautions(row["cautions"], told, caution_title(audience))
    said = row["how"] if audience == "technician" else f'Read out: "{row["say"]}"'
    lines = [Line(heading)] if heading else []
    lines += [Line(said), *question_lines(prompt)]
    name = f"{row['name']} ({row['kind']}, {row['minutes']:g} min, {row['check']})"
    return [*blocks, Block("question", tuple(lines), name)], told


def why(row: Json, desk: Desk) -> Block:
    """Return why a check is asked for and what causes would make it read."""
    lines = [Line(one) for one in (row["why"], row.get("reason")) if one]
    lines += [Line(f"{desk.name(one['cause'])}: {one['reads']}", "-") for one in row["expect"]]
    return Block("page", tuple(lines), "Why this check")


def causes(answer: Json, desk: Desk) -> Block:
    """Return the whole ranking, each likely cause with what speaks for and against it."""
    shown = [one for one in answer["causes"] if one["probability"] >= LEAST_SHOWN]
    shown = shown or list(answer["causes"][:1])
    lines: list[Line] = []
    for rank, one in enumerate(shown, start=1):
        lines.append(Line(f"{one['name']}: {sureness(one['probability'])}", f"{rank}."))
        lines += [
            Line(f"{desk.name(row['check'])}: {row['observed']} ({strength(row['weight_db'])})",
                 "+" if row["direction"] == "for" else "-", 1)
            for row in one["evidence"] if abs(row["weight_db"]) >= LEAST_DB
        ]  # fmt: skip
    rest = len(answer["causes"]) - len(shown)
    if rest:
        lines.append(Line(f"{rest} more causes are under 1 in 100 each."))
    return Block("page", tuple(lines), "All causes (+ speaks for it, - against it)")


def repair_choice(answer: Json, prompt: Prompt, further: Sequence[Json]) -> Block:
    """Return what there is to decide when checking stops; ``further`` takes more than at hand."""
    first = lead(answer)
    if first["probability"] > SURE and not hands_over(answer):
        lines = [Line(f"{first['name']}: {sureness(first['probability'])}.")]
    else:
        lines = [Line(answer["advice"]["because"] or "You can stop checking here.")]
    if further:
        names = "; ".join(str(one["name"]) for one in further)
        lines.append(Line(f"With more at hand the next would be: {names}. Type hands and what "
                          "there is, or stop here for whoever goes to the machine."))  # fmt: skip
    return Block("question", (*lines, *question_lines(prompt)), "What now?")


def repair_page(
    answer: Json, cause: str, desk: Desk, audience: str, told: frozenset[str]
) -> tuple[list[Block], frozenset[str]]:
    """Return how a cause is put right: cautions, what is behind it, the repair, its proof."""
    entry = cause_of(answer, cause)
    blocks, told = cautions(entry["cautions"], told, caution_title(audience))
    lines = [
        Line(f"Look behind it: {one}", "-") for one in conclusions.behind(entry, desk.knowledge)
    ]
    if entry["before_replacing"]:
        names = "; ".join(map(desk.name, entry["before_replacing"]))
        lines.append(Line(f"Check before a part is fitted: {names}.", "-"))
    lines += [Line(entry["remedy"]), Line(f"Proof of repair: {entry['proof_of_repair']}")]
    lines += [Line(one, "-") for one in conclusions.handing_back(answer)]
    return [*blocks, Block("page", tuple(lines), f"Repair: {entry['name']}")], told


def what_if(rows: Sequence[tuple[str, Json]], now: Json) -> Block:
    """Return how the leading causes would move for one or more answers."""
    noted = Line("Nothing was noted.")
    if len(rows) == 1:
        words, answer = rows[0]
        block = belief(answer, now, f"If the answer were: {words}")
        return Block("page", (*block.lines, noted), block.title)
    lines = [
        Line(f"{words}: {first['name']} leads, {hundredths(first['probability'])}", "-")
        for words, answer in rows
        for first in [lead(answer)]
    ]
    return Block("page", (*lines, noted), "What each answer would do")


def answers(entries: Sequence[Entry], desk: Desk) -> Block:
    """Return the answers so far, numbered as ``change`` takes them."""
    fields = inquiry_of(entries).fields
    lines = [Line(entry_words(one, fields, desk), f"{n}.") for n, one in enumerate(entries, 1)]
    return Block("page", tuple(lines) or (Line("None yet."),), "Answers so far")


def greeting() -> Block:
    """Return the first words."""
    return text(
        "Answer with the number of an answer. 0 is always 'I don't know'. Type ? for help, back to "
        "take an answer back, quit to end.",
        title="threewire: what is wrong with a three-wire solenoid circuit",
    )


def order_page(entries: Sequence[Entry], desk: Desk) -> list[Block]:
    """Return the work order, one part for each side that something was found on."""
    inquiry = inquiry_of(entries)
    if "duty" not in inquiry.fields:
        lines = [Line(entry_words(one, inquiry.fields, desk), "-") for one in entries]
        return [Block("page", (Line("Nothing to go by yet."), *lines), "WORK ORDER NOTE")]
    looked_at = [[Entry("machine", "side", side)] if side else [] for side in inquiry.sides]
    calls = [inquiry_of([*entries, *one]) for one in looked_at]
    orders = [order_of(one, side_looked_at(one), desk) for one in calls]
    template = templates("api", "interview", one_line=True).get_template("order.txt")
    (page,) = sections_of(template.render(
        orders=orders, complaint=COMPLAINTS[inquiry.fields["duty"]], name=desk.name,
        machine=machine_words(inquiry.fields), doubts=_DOUBTS, sureness=sureness, strength=strength,
        cautions=dict.fromkeys(text for order in orders for text in order.cautions),
    ))  # fmt: skip
    return [Block("page", tuple(page.lines), page.title)]
