"""The readable report of an answer: pure text, in the order in which a technician wants it.

First what is wrong, how sure that is, and what to do next with its caution; then the reasons.
"""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from engine import Knowledge

Answer = Mapping[str, Any]

WIDTH = 88

# least probability -> how a person would say it
_SURENESS = ((0.97, "as good as certain"), (0.8, "very likely"), (0.6, "likely"),
             (0.4, "about as likely as not"), (0.15, "possible"), (0.03, "unlikely"),
             (0.0, "very unlikely"))  # fmt: skip
# least weight in decibans -> how much a finding says; 10 is odds of ten to one
_WEIGHTS = ((20.0, "very strong"), (10.0, "strong"), (5.0, "fair"), (2.0, "slight"),
            (0.0, "hardly any"))  # fmt: skip


@dataclass(frozen=True)
class Line:
    """A sentence or two; ``lead`` hangs before the first line, such as '1.'."""

    text: str
    lead: str = ""
    indent: int = 0

    def wrapped(self, width: int) -> str:
        """Return the line broken to ``width`` characters, its further lines under its text."""
        margin = " " * (3 * self.indent)
        lead = f"{self.lead} " if self.lead else ""
        return textwrap.fill(
            self.text,
            width,
            initial_indent=margin + lead,
            subsequent_indent=margin + " " * len(lead),
            break_long_words=False,
            break_on_hyphens=False,
        )


@dataclass(frozen=True)
class Section:
    """A titled part of the report; ``first_screen`` marks what has to be seen at once."""

    title: str
    lines: list[Line] = field(default_factory=list)
    first_screen: bool = False


def sections(answer: Answer, knowledge: Knowledge) -> list[Section]:
    """Return the report of ``answer``, section by section; empty ones are left out."""
    found = [
        Section("Stop first", list(_urgent(answer, knowledge)), first_screen=True),
        Section("What is wrong", list(_what(answer)), first_screen=True),
        Section("Do this next", list(_next(answer, knowledge)), first_screen=True),
        *_evidence_sections(answer, knowledge),
        Section("Set aside", list(_set_aside(answer, knowledge))),
        Section("Proved good", list(_proofs(answer))),
        Section("How well it fits", list(_fit(answer, knowledge))),
        *_repair_sections(answer, knowledge),
        Section("Checks after that", list(_further(answer, knowledge))),
        Section("Always", list(_general(answer, knowledge))),
    ]
    return [section for section in found if section.lines]


def as_text(parts: Sequence[Section], width: int = WIDTH) -> list[str]:
    """Return the sections as plain lines of text that need no colour."""
    lines: list[str] = []
    for part in parts:
        lines += [part.title.upper(), "-" * len(part.title)]
        lines += [row for line in part.lines for row in line.wrapped(width).split("\n")]
        lines.append("")
    return lines


def sureness(probability: float) -> str:
    """Return a probability in words and in hundredths: 'very likely, 83 in 100'."""
    words = next(words for least, words in _SURENESS if probability >= least)
    hundredths = round(probability * 100)
    figure = "over 99" if hundredths >= 100 else "under 1" if hundredths < 1 else str(hundredths)
    return f"{words}, {figure} in 100"


def strength(weight_db: float) -> str:
    """Return how much a finding says, in words and decibans."""
    words = next(words for least, words in _WEIGHTS if abs(weight_db) >= least)
    return f"{words}, {weight_db:+.1f} dB"


def _name(kind: Mapping[str, Any], wanted: str) -> str:
    """Return the name of a cause or check for people; an id of its own stays as it is."""
    return str(kind[wanted].name) if wanted in kind else wanted.replace("-", " ")


def _is_urgent(caution: Mapping[str, Any], knowledge: Knowledge) -> bool:
    """Return whether a finding or a belief raised this caution, and not the machine alone."""
    rule = knowledge.rules.get(caution["id"])
    keys = ("check", "checks", "cause", "concluded")
    return rule is not None and any(_mentions(condition, keys) for condition in rule.when)


def _mentions(condition: object, keys: Sequence[str]) -> bool:
    """Return whether a condition, or one nested in it, is about one of ``keys``."""
    if isinstance(condition, Mapping):
        return any(key in keys or _mentions(inner, keys) for key, inner in condition.items())
    if isinstance(condition, (list, tuple)):
        return any(_mentions(inner, keys) for inner in condition)
    return False


def _urgent(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    for caution in answer["cautions"]:
        if _is_urgent(caution, knowledge):
            yield Line(caution["text"], "!")


def _general(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    for caution in answer["cautions"]:
        if not _is_urgent(caution, knowledge):
            yield Line(caution["text"], "!")
    yield Line(f"Knowledge {answer['knowledge_version']}.")


def _what(answer: Answer) -> Iterator[Line]:
    """Yield the ranking, and which of its causes nothing separates yet."""
    if not answer["scope"]["covered"]:
        yield Line(f"This machine is not covered. {answer['scope']['because'] or ''}".strip())
        return
    for rank, cause in enumerate(answer["causes"], start=1):
        yield Line(f"{cause['name']}: {sureness(cause['probability'])}.", f"{rank}.")
    leading = [cause for cause in answer["causes"] if cause["group"] == _lead_group(answer)]
    if len(leading) > 1:
        yield Line(
            f"The first {len(leading)} cannot be told apart by what was found so far: their order "
            "is only how often each occurs."
        )
    if answer["fit"]["verdict"] != "good":
        yield Line("Take this with care: the findings do not fit well together, see below.")


def _lead_group(answer: Answer) -> int | None:
    return answer["causes"][0]["group"] if answer["causes"] else None


def _next(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    """Yield the best check in full, or the repair when no check is worth its time."""
    if answer["next_checks"]:
        yield from _check(answer["next_checks"][0], knowledge)
        return
    if answer.get("advice"):
        yield Line(answer["advice"])
    if answer["causes"] and answer["scope"]["covered"]:
        cause = answer["causes"][0]
        yield Line(cause["remedy"])
        yield from (Line(f"Caution: {text}", "!") for text in cause["cautions"])


def _check(check: Mapping[str, Any], knowledge: Knowledge) -> Iterator[Line]:
    """Yield what to do, what each cause would make of it, and its cautions."""
    saves = f", saves about {check['saves_minutes']:.0f}" if check["saves_minutes"] >= 1 else ""
    yield Line(
        f"{_name(knowledge.checks, check['check'])} "
        f"({check['kind']}, {check['minutes']:g} min{saves}; {check['check']})"
    )
    yield from (Line(f"Caution: {text}", "!") for text in check["cautions"])
    yield Line(check["how"])
    for row in check["expect"]:
        yield Line(f"{_cause_name(knowledge, row['cause'])}: {row['reads']}", "-", 1)


def _cause_name(knowledge: Knowledge, wanted: str) -> str:
    own = {"healthy": "Nothing wrong in this circuit", "outside": "Something outside this circuit"}
    return own.get(wanted) or _name(knowledge.causes, wanted)


def _worth_telling(answer: Answer) -> list[Mapping[str, Any]]:
    """Return the causes whose reasons are shown: the first, and others that may well be true."""
    return [
        cause
        for rank, cause in enumerate(answer["causes"])
        if rank == 0 or cause["probability"] >= 0.15
    ]


def _evidence_sections(answer: Answer, knowledge: Knowledge) -> Iterator[Section]:
    if not answer["scope"]["covered"]:
        return
    for cause in _worth_telling(answer):
        lines: list[Line] = []
        for direction in ("for", "against"):
            rows = [row for row in cause["evidence"] if row["direction"] == direction]
            if rows:
                lines.append(Line(f"{direction.capitalize()} it:"))
            for row in rows:
                lines += _evidence(row, knowledge)
        yield Section(f"Why: {cause['name']}", lines)


def _evidence(row: Mapping[str, Any], knowledge: Knowledge) -> list[Line]:
    """Return what was found, what it says, and what else would have been expected."""
    sign = "+" if row["direction"] == "for" else "-"
    name = _name(knowledge.checks, row["check"])
    return [
        Line(f"{name}: {row['observed']} ({strength(row['weight_db'])})", sign, 1),
        Line(
            f"With this cause {row['expected_if_cause']}; healthy {row['expected_if_healthy']}.",
            indent=2,
        ),
        Line(row["because"], indent=2),
    ]


def _set_aside(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    for row in answer["set_aside"]:
        yield Line(f"Finding {row['finding'] + 1}: {row['because']}", "-")
        yield Line(f"Instead: {row['instead']}", indent=1)


def _proofs(answer: Answer) -> Iterator[Line]:
    for proof in answer["proofs"]:
        numbers = ", ".join(str(place + 1) for place in proof["from"])
        source = f" (from finding {numbers})" if numbers else ""
        yield Line(f"{proof['says']}{source}", "-")


def _fit(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    """Yield how well the best cause predicts the findings, and which of them disagree."""
    fit = answer["fit"]
    yield Line(
        {
            "good": "The best cause predicts the findings well.",
            "strained": "The best cause predicts the findings only so-so.",
            "poor": "No single cause predicts these findings.",
        }[fit["verdict"]]
    )
    if fit["disagreeing"]:
        numbers = " and ".join(str(place + 1) for place in fit["disagreeing"])
        yield Line(f"Findings {numbers} disagree most: take them again first.")
    for pair in fit.get("pairs", ()):
        names = " with ".join(_cause_name(knowledge, cause) for cause in pair["causes"])
        yield Line(f"Two faults at once would fit better: {names}.", "-")


def _repair_sections(answer: Answer, knowledge: Knowledge) -> Iterator[Section]:
    if not answer["scope"]["covered"]:
        return
    for cause in _worth_telling(answer):
        if cause["id"] in ("healthy", "outside"):
            continue
        lines = [Line(f"Caution: {text}", "!") for text in cause["cautions"]]
        for row in cause["look_behind"]:
            name = _cause_name(knowledge, row["cause"])
            lines.append(Line(f"Look behind it first, {name}: {row['because']}", "-"))
        lines += [Line(cause["remedy"]), Line(f"Proof of repair: {cause['proof_of_repair']}")]
        yield Section(f"If it is this: {cause['name']}", lines)


def _further(answer: Answer, knowledge: Knowledge) -> Iterator[Line]:
    for rank, check in enumerate(answer["next_checks"][1:], start=2):
        head, *rest = _check(check, knowledge)
        yield Line(head.text, f"{rank}.")
        yield from (Line(line.text, line.lead, line.indent + 1) for line in rest)
