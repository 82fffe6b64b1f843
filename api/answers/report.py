"""The readable report of an answer, in the order in which a technician wants it.

First what is wrong, how sure that is, and what to do next with its cautions; then the reasons. A
caution is printed in full where it is first needed and by its number after that, so that the
important ones are not drowned in repetition.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from api.answers.conclusions import behind, cause_of
from api.answers.finding_words import named
from api.answers.text import Section, sections_of, strength, sureness, templates
from api.strict_json import Json
from engine import Knowledge
from engine.answer.words import listed
from engine.knowledge.rule_language import BeliefTest, ConcludedTest, FindingTest

LEAST_SHOWN = 0.01  # less probable causes are named together
LEAST_EXPLAINED = 0.15  # causes that may well be true are explained
LEAST_SHOWN_DB = 2.0  # lighter findings are named, not shown in full
_OWN_NAMES = {
    "healthy": "Nothing wrong in this circuit",
    "outside": "Something outside this circuit",
}


def sections(answer: Json, knowledge: Knowledge) -> list[Section]:
    """Return the report of ``answer``, section by section; empty ones are left out.

    Where findings name sides, each of the two solenoids has a report of its own.
    """
    if "sides" not in answer:
        return _Report(answer, knowledge, {}).sections()
    numbers: dict[str, int] = {}
    return [
        replace(section, title=f"{side.capitalize()} solenoid: {section.title}")
        for side, one in answer["sides"].items()
        for section in _Report(one, knowledge, numbers).sections()
    ]


class _Report:
    """One answer being told by the template; it remembers which cautions were printed already."""

    def __init__(self, answer: Json, knowledge: Knowledge, numbers: dict[str, int]) -> None:
        self.answer: Json = _one_line(answer)
        self.knowledge = knowledge
        self._numbers = numbers  # of the cautions printed so far, by their text
        self.covered = bool(answer["scope"]["covered"])
        causes, advice = self.answer["causes"], self.answer["advice"]
        self.likely = [one for one in causes if one["probability"] >= LEAST_SHOWN] or causes[:1]
        self.rest = causes[len(self.likely) :]  # named together
        groups = [one["group"] for one in causes]
        # how many nothing separates yet from the first
        self.together = groups.count(groups[0]) if groups else 0
        # what to put right now: chance over minutes, not chance alone, decides
        first = next(iter(advice["repair_order"]), "")
        repairs = advice["do"] == "repair" and causes
        self.repaired_now = cause_of(self.answer, first) if repairs else None
        # How to repair what is true 6 times in 100 is no help: it reads like advice.
        self.explained = [
            cause for cause in (causes if self.covered else ())
            if cause["probability"] >= LEAST_EXPLAINED or cause is self.repaired_now
        ]  # fmt: skip

    def sections(self) -> list[Section]:
        """Return the sections that have something to say, in reading order."""
        template = templates("api", "answers").get_template("report.txt")
        return sections_of(template.render(
            report=self, answer=self.answer, name=self._name, findings=_findings, listed=listed,
            sureness=sureness, strength=strength, least_explained=LEAST_EXPLAINED,
            no_repair=_OWN_NAMES,
        ))  # fmt: skip

    def _name(self, wanted: str) -> str:
        return _OWN_NAMES.get(wanted) or named(wanted, self.knowledge)

    def names(self, wanted: Iterable[str]) -> str:
        """Return the names of checks in a row."""
        return "; ".join(map(self._name, wanted))

    def urgent(self, caution: Json) -> bool:
        """Return whether a finding or a belief raised this caution, and not the machine alone."""
        program = self.knowledge.programs.get(caution["id"])
        return program is not None and any(
            isinstance(one, (FindingTest, BeliefTest))
            or (isinstance(one, ConcludedTest) and one.wanted)
            for one in program.walk()
        )

    def numbered(self, texts: Iterable[str]) -> Iterator[str]:
        """Yield cautions: new ones in full with a number, known ones by their number."""
        known: list[int] = []
        for text in texts:
            if text in self._numbers:
                known.append(self._numbers[text])
                continue
            self._numbers[text] = len(self._numbers) + 1
            yield f"Caution {self._numbers[text]}: {text}"
        if known:
            plural = "Cautions" if known[1:] else "Caution"
            yield f"{plural} {listed([str(one) for one in sorted(known)])} above."

    def heavy(self, cause: Json) -> Iterator[tuple[str, list[Json]]]:
        """Yield the findings for and against a cause that say enough to be shown in full."""
        for direction in ("for", "against"):
            rows = [
                row for row in cause["evidence"]
                if row["direction"] == direction and abs(row["weight_db"]) >= LEAST_SHOWN_DB
            ]  # fmt: skip
            if rows:
                yield direction, rows

    def light(self, cause: Json) -> list[str]:
        """Return the checks that say next to nothing about a cause."""
        shown = {row["check"] for _, rows in self.heavy(cause) for row in rows}
        every = dict.fromkeys(row["check"] for row in cause["evidence"])
        return [check for check in every if check not in shown]

    def behind(self, cause: Json) -> list[str]:
        """Return what may have made a cause, one sentence a reason."""
        return behind(cause, self.knowledge)


def _one_line(value: Any) -> Any:
    """Return data with every text on one line: a line of the template is a line of the report."""
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, Mapping):
        return {key: _one_line(one) for key, one in value.items()}
    return [_one_line(one) for one in value] if isinstance(value, list) else value


def _findings(places: Sequence[int]) -> str:
    """Return findings as a person counts them: 'findings 1 and 3'."""
    word = "findings" if places[1:] else "finding"
    return f"{word} {listed([str(place + 1) for place in places])}"
