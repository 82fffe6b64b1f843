"""The readable report of an answer: pure text, in the order in which a technician wants it.

First what is wrong, how sure that is, and what to do next with its cautions; then the reasons. A
caution is printed in full where it is first needed and by its number after that, so that the
important ones are not drowned in repetition.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from api.answers.conclusions import behind, cause_of
from api.answers.finding_words import named
from api.answers.text import Line, Section, strength, sureness
from api.strict_json import Json
from engine import Knowledge
from engine.answer.words import listed

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
    """One answer being told; it remembers which cautions were printed already."""

    def __init__(self, answer: Json, knowledge: Knowledge, numbers: dict[str, int]) -> None:
        self.answer = answer
        self.knowledge = knowledge
        self.covered = bool(answer["scope"]["covered"])
        self.repair_now = answer["advice"]["do"] == "repair" and bool(answer["causes"])
        self._numbers = numbers  # of the cautions printed so far, by their text

    def sections(self) -> list[Section]:
        """Return the sections that have something to say, in reading order."""
        urgent = [Line(row["text"], "!") for row in self.answer["cautions"] if self._urgent(row)]
        found = [
            Section("Stop first", urgent, first_screen=True),
            Section("What is wrong", list(self._what()), first_screen=True),
            Section("Set aside", list(self._set_aside()), first_screen=True),
            Section("Do this next", list(self._next()), first_screen=True),
            *(Section(f"Why: {one['name']}", self._why(one)) for one in self._explained()),
            Section("Proved good", list(self._proofs())),
            Section("How well it fits", list(self._fit())),
            *self._repairs(),
            Section("Checks after that", list(self._further())),
            Section("Worth knowing", list(self._notes())),
            Section("Always", list(self._always())),
        ]
        return [section for section in found if section.lines]

    def _name(self, wanted: str) -> str:
        return _OWN_NAMES.get(wanted) or named(wanted, self.knowledge)

    def _urgent(self, caution: Json) -> bool:
        """Return whether a finding or a belief raised this caution, and not the machine alone."""
        rule = self.knowledge.rules.get(caution["id"])
        return rule is not None and any(_about_findings(condition) for condition in rule.when)

    def _what(self) -> Iterator[Line]:
        """Yield the ranking, and which of its causes nothing separates yet."""
        if not self.covered:
            yield Line(f"This machine is not covered. {self.answer['scope']['because']}")
            return
        causes = self.answer["causes"]
        shown = [one for one in causes if one["probability"] >= LEAST_SHOWN] or causes[:1]
        for rank, cause in enumerate(shown, start=1):
            yield Line(f"{cause['name']}: {sureness(cause['probability'])}.", f"{rank}.")
        rest = causes[len(shown) :]
        if rest:
            yield Line(f"Under 1 in 100 each: {'; '.join(one['name'] for one in rest)}.")
        yield from self._doubts(causes)

    def _doubts(self, causes: Sequence[Json]) -> Iterator[Line]:
        together = [one for one in causes if one["group"] == causes[0]["group"]]
        if len(together) > 1:
            yield Line(
                f"Nothing found so far tells the first {len(together)} apart: their order is only "
                "how often each occurs."
            )
        if causes[0]["probability"] < LEAST_EXPLAINED:
            yield Line("Too early to name a part: no cause stands out.")
        fit = self.answer["fit"]
        for pair in fit.get("pairs", ())[:1]:
            yield Line(
                f"More likely there are two faults at once ({sureness(pair['probability'])}): "
                f"{listed(pair['names'])}."
            )
        if fit["verdict"] != "good":
            yield Line("Take this with care: the findings do not fit one cause well, see below.")

    def _next(self) -> Iterator[Line]:
        """Yield the best check in full, or the repair when no check is worth its time."""
        if self.answer["advice"]["do"] == "check":
            yield from self._check(self.answer["next_checks"][0])
            return
        if self.covered and self.answer["advice"]["because"]:
            yield Line(self.answer["advice"]["because"])
        if self.repair_now:
            yield from self._repair(self._repaired_first())

    def _repaired_first(self) -> Json:
        """Return the cause to put right first: chance over minutes, not chance alone, decides."""
        order = self.answer["advice"]["repair_order"]
        return cause_of(self.answer, order[0] if order else "")

    def _check(self, check: Json) -> Iterator[Line]:
        """Yield what to do, its cautions before it, and what each cause would make of it."""
        yield Line(
            f"{self._name(check['check'])} "
            f"({check['kind']}, {check['minutes']:g} min; {check['check']})"
        )
        yield Line(check["reason"])
        yield from self._cautions(check["cautions"])
        if check["kind"] == "ask":
            yield Line(f'Read out: "{check["say"]}"')
        yield Line(check["how"])
        yield Line(check["why"])
        for row in check["expect"]:
            yield Line(f"{self._name(row['cause'])}: {row['reads']}", "-", 1)

    def _cautions(self, texts: Iterable[str]) -> Iterator[Line]:
        """Yield cautions: new ones in full with a number, known ones by their number."""
        known: list[int] = []
        for text in texts:
            if text in self._numbers:
                known.append(self._numbers[text])
                continue
            self._numbers[text] = len(self._numbers) + 1
            yield Line(f"Caution {self._numbers[text]}: {text}", "!")
        if known:
            plural = "Cautions" if known[1:] else "Caution"
            yield Line(f"{plural} {listed([str(one) for one in sorted(known)])} above.", "!")

    def _explained(self) -> list[Json]:
        """Return the causes that may well be true, and the one to put right now.

        How to repair what is true 6 times in 100 is no help: it reads like advice.
        """
        now = self._repaired_first()["id"] if self.repair_now else ""
        return [
            cause
            for cause in (self.answer["causes"] if self.covered else ())
            if cause["probability"] >= LEAST_EXPLAINED or cause["id"] == now
        ]

    def _why(self, cause: Json) -> list[Line]:
        """Return the findings for and against a cause, weightiest first."""
        lines: list[Line] = []
        for direction in ("for", "against"):
            rows = [row for row in cause["evidence"] if row["direction"] == direction]
            heavy = [row for row in rows if _is_heavy(row)]
            if heavy:
                lines.append(Line(f"{direction.capitalize()} it:"))
            lines += [line for row in heavy for line in self._evidence(row)]
        shown = {one["check"] for one in cause["evidence"] if _is_heavy(one)}
        light = [one["check"] for one in cause["evidence"] if one["check"] not in shown]
        if light:
            names = "; ".join(map(self._name, dict.fromkeys(light)))
            lines.append(Line(f"Next to nothing is said here by: {names}."))
        return lines

    def _evidence(self, row: Json) -> list[Line]:
        """Return what was found, what it says, and why or against what."""
        sign = "+" if row["direction"] == "for" else "-"
        name = self._name(row["check"])
        expected = f"This cause: {row['expected_if_cause']}. Healthy: {row['expected_if_healthy']}."
        # without a rule behind it, the engine's sentence repeats what stands here
        because = row["because"] if row["basis"].startswith("rule:") else expected
        return [
            Line(f"{name}: {row['observed']} ({strength(row['weight_db'])})", sign, 1),
            Line(because, indent=2),
        ]

    def _set_aside(self) -> Iterator[Line]:
        """Yield the findings that count for nothing, then those that count for less."""
        for row in (*self.answer["set_aside"], *self.answer["weakened"]):
            share = f" (counts {round(row['keep'] * 100)} in 100)" if "keep" in row else ""
            yield Line(f"Finding {row['finding'] + 1}{share}: {row['because']}", "-")
            yield Line(f"Instead: {row['instead']}", indent=1)
        for row in self.answer["superseded"]:
            yield Line(f"Finding {row['finding'] + 1}: {row['because']}", "-")

    def _proofs(self) -> Iterator[Line]:
        for proof in self.answer["proofs"]:
            source = f" ({_findings(proof['from']).capitalize()}.)" if proof["from"] else ""
            yield Line(f"{proof['says']}{source} {proof['next']}", "-")

    def _notes(self) -> Iterator[Line]:
        for note in self.answer["notes"]:
            yield Line(f"{note['found']} {note['points']} {note['next']}", "-")

    def _fit(self) -> Iterator[Line]:
        """Yield how well the best cause predicts the findings, and which of them disagree."""
        if not self.covered:
            return
        fit = self.answer["fit"]
        words = {
            "good": "The best cause predicts the findings well.",
            "strained": "The best cause predicts the findings only so-so.",
            "poor": "No single cause predicts these findings.",
        }
        yield Line(words[fit["verdict"]])
        if fit["disagreeing"]:
            yield Line(f"Most at odds: {_findings(fit['disagreeing'])}.")
        if fit.get("repeat"):
            yield Line(f"Take again before anything else: {_findings(fit['repeat'])}.")
        for pair in fit.get("pairs", ()):
            yield from self._pair(pair)

    def _pair(self, pair: Json) -> Iterator[Line]:
        """Yield two causes that together explain it, and what tells them apart."""
        yield Line(f"{listed(pair['names'])}, both: {sureness(pair['probability'])}.", "-")
        if pair["needed_for"]:
            yield Line(f"Only both explain {_findings(pair['needed_for'])}.", indent=1)
        if pair["told_apart_by"]:
            name = self._name(pair["told_apart_by"])
            yield Line(f"What tells them apart best: {name}.", indent=1)

    def _repairs(self) -> Iterator[Section]:
        """Yield how each explained cause is put right, unless that was told as the next step."""
        done = self._repaired_first()["id"] if self.repair_now else ""
        for cause in self._explained():
            told = cause["id"] == done
            if not told and cause["id"] not in _OWN_NAMES:
                yield Section(f"If it is this: {cause['name']}", list(self._repair(cause)))

    def _repair(self, cause: Json) -> Iterator[Line]:
        """Yield what to look at first, the repair with its cautions, and its proof."""
        for words in behind(cause, self.knowledge):
            yield Line(f"Look behind it first: {words}", "-")
        if cause["before_replacing"]:
            names = [self._name(check) for check in cause["before_replacing"]]
            yield Line(f"Before a part is fitted: {'; '.join(names)}.", "-")
        yield from self._cautions(cause["cautions"])
        yield Line(cause["remedy"])
        yield Line(f"Proof of repair: {cause['proof_of_repair']}")

    def _further(self) -> Iterator[Line]:
        told = 1 if self.answer["advice"]["do"] == "check" else 0  # the first is shown above
        for rank, check in enumerate(self.answer["next_checks"][told:], start=told + 1):
            head, *rest = self._check(check)
            yield Line(head.text, f"{rank}.")
            yield from (Line(line.text, line.lead, line.indent + 1) for line in rest)

    def _always(self) -> Iterator[Line]:
        for caution in self.answer["cautions"]:
            if not self._urgent(caution):
                yield Line(caution["text"], "!")
        yield Line(f"Knowledge {self.answer['knowledge_version']}.")


def _findings(places: Sequence[int]) -> str:
    """Return findings as a person counts them: 'findings 1 and 3'."""
    word = "findings" if places[1:] else "finding"
    return f"{word} {listed([str(place + 1) for place in places])}"


def _is_heavy(evidence: Json) -> bool:
    """Return whether a finding says enough about a cause to be shown in full."""
    return abs(float(evidence["weight_db"])) >= LEAST_SHOWN_DB


def _about_findings(condition: object) -> bool:
    """Return whether a rule's condition, or one nested in it, is about a finding or a belief."""
    if isinstance(condition, Mapping):
        keys = {"check", "checks", "cause", "concluded"}
        return bool(keys & set(condition)) or any(map(_about_findings, condition.values()))
    return isinstance(condition, (list, tuple)) and any(map(_about_findings, condition))
