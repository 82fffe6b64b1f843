"""What the interview says at each step, as blocks of plain sentences."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from api.answers import conclusions
from api.answers.conclusions import cause_of, hundredths
from api.answers.text import Line, strength, sureness
from api.interview.commands import COMMANDS
from api.interview.desk import Answer, Desk, lead, probabilities
from api.interview.next_step import SURE, checks_before
from api.interview.state import Inquiry
from api.interview.turn import Block, Prompt, text

BAR = 10
SHOWN_CAUSES = 3
LEAST_SHOWN = 0.01

EXAMPLES = {"V": "11.4 V", "A": "3.1 A", "ohm": "0.5 ohm", "s": "0.8 s", "C": "15"}


def bar(probability: float) -> str:
    """Return a belief as ten signs that need no colour: '[####......]'."""
    full = round(probability * BAR)
    return f"[{'#' * full}{'.' * (BAR - full)}]"


def moved(now: float, before: float | None) -> str:
    """Return in words how a belief moved; what rounds to the same is as before."""
    if before is None:
        return ""
    was = hundredths(before).removesuffix(" in 100")
    if was == hundredths(now).removesuffix(" in 100"):
        return ", as before"
    return f", {'up' if now > before else 'down'} from {was}"


def belief(answer: Answer, before: Answer | None, title: str = "Likeliest now:") -> Block:
    """Return the leading causes, how likely each is and which way it moved."""
    known = probabilities(before) if before else {}
    lines = [
        Line(f"{bar(p)} {hundredths(p)}{moved(p, known.get(one['id']))}: {one['name']}", f"{n}.")
        for n, one in enumerate(answer["causes"][:SHOWN_CAUSES], start=1)
        for p in [float(one["probability"])]
    ]
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
    new = [one for one in texts if one not in told]
    known = [one for one in texts if one in told]
    lines = [Line(one, "-") for one in new]
    if known:
        first = " ".join(one.split(". ")[0].rstrip(".") + "." for one in known)
        lines.append(Line(f"As before: {first} (cautions: in full)", "-"))
    return ([Block("caution", tuple(lines), title)] if lines else []), told | set(texts)


def urgent(answer: Answer, before: Answer | None) -> list[str]:
    """Return the cautions that the last answer raised; all of them when there was none before."""
    known = {one["id"] for one in before["cautions"]} if before else set()
    return [one["text"] for one in answer["cautions"] if one["id"] not in known]


def news(answer: Answer, before: Answer | None, case: Inquiry, desk: Desk) -> list[Block]:
    """Return what an answer brought about: set aside, noted, proved, at odds."""
    lines: list[Line] = []
    for row in _new_doubts(answer, before):
        says = "Counts for less" if "keep" in row else "Set aside, counts for nothing"
        lines += [Line(f"{says}: {row['because']}", "-"), Line(f"Instead: {row['instead']}", "", 1)]
    lines += [Line(one, "-") for one in _new_notes(answer, before)]
    lines += [Line(f"Proved good: {one}", "-") for one in _new_proofs(answer, before)]
    if before is None or before["fit"] != answer["fit"]:
        lines += [Line(one, "-") for one in doubts(answer["fit"], case, desk)]
    return [Block("text", tuple(lines), "What that says:")] if lines else []


def _new_doubts(answer: Answer, before: Answer | None) -> list[Mapping[str, Any]]:
    """Return the findings that newly count for nothing or for less."""

    def rows(one: Answer) -> list[Mapping[str, Any]]:
        return [*one["set_aside"], *one["weakened"]]

    known = {(row["finding"], row["rule"]) for row in rows(before)} if before else set()
    return [row for row in rows(answer) if (row["finding"], row["rule"]) not in known]


def _new_notes(answer: Answer, before: Answer | None) -> list[str]:
    """Return the notes that rest on findings and were not shown before."""
    known = {one["rule"] for one in before["notes"]} if before else set()
    known |= {row["rule"] for row in (*answer["set_aside"], *answer["weakened"])}
    resting = {row["rule"] for row in answer["trace"] if row["findings"]}
    return [
        f"{one['found']} {one['points']} {one['next']}"
        for one in answer["notes"]
        if one["rule"] in resting - known
    ]


def _new_proofs(answer: Answer, before: Answer | None) -> list[str]:
    known = {one["rule"] for one in before["proofs"]} if before else set()
    return [one["says"] for one in answer["proofs"] if one["rule"] not in known]


def doubts(fit: Mapping[str, Any], case: Inquiry, desk: Desk) -> list[str]:
    """Return what does not fit, each finding by the number that ``change`` takes."""

    def told(index: int) -> str:
        if index >= len(case.behind):
            return ""
        place, finding = case.behind[index]
        return f"answer {place + 1}, {desk.name(finding['check'])}"

    return conclusions.doubts(fit, desk.knowledge, told)


def question_lines(prompt: Prompt) -> list[Line]:
    """Return the answers there are, or how to type one."""
    lines = [Line(one.words, f"  {one.key} ") for one in prompt.options]
    if prompt.options and prompt.unsure:
        lines.append(Line("I don't know", "  0 "))
    if prompt.kind in ("reading", "number"):
        over = " Type open when the meter is over range." if prompt.unit == "ohm" else ""
        unit = "with its unit, " if prompt.kind == "reading" else ""
        lines.append(Line(f"Type the number {unit}such as {EXAMPLES[prompt.unit]}.{over} "
                          "Type d when you don't know."))  # fmt: skip
    if prompt.hint:
        lines.append(Line(f"{prompt.hint}."))
    return lines


def step(
    row: Mapping[str, Any], prompt: Prompt, audience: str, told: frozenset[str], heading: str = ""
) -> tuple[list[Block], frozenset[str]]:
    """Return a check: its cautions before anything else, then what to say or do, the answers."""
    caller = audience != "technician"
    title = "CAUTION. Read this out first" if caller else "CAUTION. Before you start"
    blocks, told = cautions(row["cautions"], told, title)
    said = f'Read out: "{row["say"]}"' if caller else row["how"]
    lines = [Line(heading)] if heading else []
    lines += [Line(said), *question_lines(prompt)]
    name = f"{row['name']} ({row['kind']}, {row['minutes']:g} min, {row['check']})"
    return [*blocks, Block("question", tuple(lines), name)], told


def why(row: Mapping[str, Any], desk: Desk) -> list[Block]:
    """Return why a check is asked for and what causes would make it read."""
    lines = [Line(row["why"])]
    if row.get("reason"):
        lines.append(Line(row["reason"]))
    lines += [Line(f"{desk.name(one['cause'])}: {one['reads']}", "-") for one in row["expect"]]
    return [Block("page", tuple(lines), "Why this check")]


def causes(answer: Answer, desk: Desk) -> list[Block]:
    """Return the whole ranking, each likely cause with what speaks for and against it."""
    shown = [one for one in answer["causes"] if one["probability"] >= LEAST_SHOWN]
    shown = shown or list(answer["causes"][:1])
    lines: list[Line] = []
    for rank, one in enumerate(shown, start=1):
        lines.append(Line(f"{one['name']}: {sureness(one['probability'])}", f"{rank}."))
        lines += [
            Line(f"{desk.name(row['check'])}: {row['observed']} ({strength(row['weight_db'])})",
                 "+" if row["direction"] == "for" else "-", 1)
            for row in one["evidence"] if abs(row["weight_db"]) >= 1.0
        ]  # fmt: skip
    rest = len(answer["causes"]) - len(shown)
    if rest:
        lines.append(Line(f"{rest} more causes are under 1 in 100 each."))
    return [Block("page", tuple(lines), "All causes (+ speaks for it, - against it)")]


def repair_choice(answer: Answer, prompt: Prompt, further: Sequence[str]) -> list[Block]:
    """Return what there is to decide when checking stops; ``further`` takes more than at hand."""
    first = lead(answer)
    if first["probability"] > SURE:
        lines = [Line(f"{first['name']}: {sureness(first['probability'])}.")]
    else:
        lines = [Line(answer["advice"]["because"] or "You can stop checking here.")]
    if further:
        lines.append(
            Line(f"With more at hand the next would be: {'; '.join(further)}. Type hands and what "
                 "there is, or stop here for whoever goes to the machine.")
        )  # fmt: skip
    lines += question_lines(prompt)
    return [Block("question", tuple(lines), "What now?")]


def repair_page(
    answer: Answer, cause: str, desk: Desk, audience: str, told: frozenset[str]
) -> tuple[list[Block], frozenset[str]]:
    """Return how a cause is put right: cautions, what is behind it, the repair, its proof."""
    entry = cause_of(answer, cause)
    caller = "Read this out first" if audience != "technician" else "Before you start"
    blocks, told = cautions(entry["cautions"], told, f"CAUTION. {caller}")
    lines = [
        Line(f"Look behind it: {one}", "-") for one in conclusions.behind(entry, desk.knowledge)
    ]
    if entry["before_replacing"]:
        names = "; ".join(map(desk.name, entry["before_replacing"]))
        lines.append(Line(f"Check before a part is fitted: {names}.", "-"))
    lines += [Line(entry["remedy"]), Line(f"Proof of repair: {entry['proof_of_repair']}")]
    lines += [Line(one, "-") for one in conclusions.handing_back(answer)]
    return [*blocks, Block("page", tuple(lines), f"Repair: {entry['name']}")], told


def what_if(rows: Sequence[tuple[str, Answer]], now: Answer) -> list[Block]:
    """Return how the leading causes would move for one or more answers."""
    if len(rows) == 1:
        words, answer = rows[0]
        block = belief(answer, now, f"If the answer were: {words}")
        return [Block("page", (*block.lines, Line("Nothing was noted.")), block.title)]
    lines = []
    for words, answer in rows:
        first = lead(answer)
        lines.append(
            Line(f"{words}: {first['name']} leads, {hundredths(first['probability'])}", "-")
        )
    return [Block("page", (*lines, Line("Nothing was noted.")), "What each answer would do")]


def before_part(case: Inquiry, desk: Desk, cause: str) -> str:
    """Return the heading of a check that comes before a part is fitted."""
    left = len(checks_before(case, desk, cause))
    return (
        f"Before the repair ({desk.name(cause)}): {left} check{'s' if left > 1 else ''} first, so "
        "that what made it is found and the repair lasts."
    )


def help_page() -> list[Block]:
    """Return how to answer and which commands there are."""
    lines = [
        Line(f"{what}", f"{name} {rest}".strip() + ":") for name, (rest, what) in COMMANDS.items()
    ]
    tips = [
        Line("Type the number of an answer, or the reading with its unit: 11.4 V, 320 mV, "
             "1.2 kohm, open. 0 or d: I don't know."),
        Line("Behind an answer, after a comma: leads 0.2 ohm, zeroed, to body, to ground pin, "
             "60 C, plug on, plug off, key-on, crank, running, no-peak-hold, hot, note TEXT."),
    ]  # fmt: skip
    return [Block("page", (*tips, *lines), "Help")]


def greeting() -> Block:
    """Return the first words."""
    return text(
        "Answer with the number of an answer. 0 is always 'I don't know'. Type ? for help, back to "
        "take an answer back, quit to end.",
        title="threewire: what is wrong with a three-wire solenoid circuit",
    )
