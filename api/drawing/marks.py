"""What an answer says about the parts and points of the circuit: good, suspect, read, to probe."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from api.answers.finding_words import result_of
from api.drawing.text import NARROW, NO_BREAK
from api.strict_json import Json
from engine import Knowledge
from engine.answer.words import percent
from engine.knowledge import items
from engine.physics.model import HEALTHY, NO_REPAIR

LEAST_SUSPECT = 0.05  # a cause that is less likely is not marked as a suspect
LEAST_CHANCE = 0.01  # a part where a cause so likely may sit is not called good
MOST_SUSPECTS = 12


@dataclass(frozen=True)
class Suspect:
    """A cause with its number in the drawing and the parts where it would sit."""

    number: int
    cause: str
    name: str
    chance: float
    parts: tuple[str, ...]

    @property
    def tag(self) -> str:
        """Return what is written at its parts."""
        chance = percent(self.chance).replace("over ", ">").replace("under ", "<")
        # spaces that hold: the tag stays on one line
        return f"S{self.number}{NO_BREAK}{chance.replace(' %', NARROW)}"


@dataclass(frozen=True)
class ProbeMark:
    """Where to measure or look now; a node is empty where the check has no such lead."""

    name: str
    kind: str
    red: str
    black: str
    part: str
    phase: str
    plug: str
    expected: tuple[str, ...]


@dataclass(frozen=True)
class Marks:
    """All marks of one answer."""

    suspects: tuple[Suspect, ...] = ()
    good: frozenset[str] = frozenset()
    probe: ProbeMark | None = None
    instead: str = ""  # what to do when there is nothing to probe
    at_points: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    at_parts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def tags(self, part: str) -> list[str]:
        """Return the tags of the suspects that would sit in a part."""
        return [one.tag for one in self.suspects if part in one.parts]


def parts_of(cause: items.Cause, places: Mapping[str, str]) -> tuple[str, ...]:
    """Return the parts in which a cause sits.

    A part that every state changes is where it sits, what only some states change beside it is
    a consequence; without such a part, any of them. ``places`` says which part a setting is of.
    """
    states = [
        [one.id if one.target == "part" else places.get(one.id, "") for one in state.changes]
        for state in cause.states
    ]
    every = dict.fromkeys(part for state in states for part in state if part)
    shared = [part for part in every if all(part in state for state in states)]
    return tuple(shared or every)


class Marker:
    """One answer on its way into the drawing."""

    def __init__(self, knowledge: Knowledge, answer: Json, coil: str) -> None:
        self.knowledge, self.answer, self.coil = knowledge, answer, coil
        self.causes: Sequence[Json] = answer.get("causes", ())
        places = {
            str(row["setting"]): name
            for name, row in knowledge.rows("drawing-parts").items() if "setting" in row
        }  # fmt: skip
        self.where = {name: parts_of(one, places) for name, one in knowledge.causes.items()}
        self.suspects = self._suspects()

    def marks(self, findings: Mapping[int, Json], check: Json | None) -> Marks:
        """Return all marks; ``check`` is the one to do now."""
        points: dict[str, tuple[str, ...]] = {}
        parts: dict[str, tuple[str, ...]] = {}
        for index, finding in findings.items():
            known = self.knowledge.checks.get(str(finding.get("check", "")))
            if known and known.reading and finding.get("outcome") != "not-known":
                part, (red, _) = known.reading.part, leads(known.reading, self.coil)
                place, target = (parts, part) if part else (points, red)
                lines = self._read(index, finding, known.reading)
                place[target] = (*place.get(target, ()), *lines)
        because = (self.answer.get("advice") or {}).get("because") or ""
        probe = self._probe(check) if check else None
        return Marks(self.suspects, self._good(), probe, str(because), points, parts)

    def _suspects(self) -> tuple[Suspect, ...]:
        named = [
            one for one in self.causes
            if one["probability"] >= LEAST_SUSPECT and one["id"] not in NO_REPAIR
        ][:MOST_SUSPECTS]  # fmt: skip
        return tuple(
            Suspect(n, one["id"], one["name"], one["probability"], self.where.get(one["id"], ()))
            for n, one in enumerate(named, start=1)
        )

    def _good(self) -> frozenset[str]:
        """Return the parts that the findings prove good.

        Something is cleared there, and nothing else that could sit there is still likely. A cause
        that the answer does not list may have all that the listed ones leave over.
        """
        listed = {one["id"]: float(one["probability"]) for one in self.causes}
        left_over = 1.0 - sum(listed.values())
        cleared = {cause for proof in self.answer.get("proofs", ()) for cause in proof["clears"]}
        doubted = {
            part
            for cause, parts in self.where.items() if cause not in cleared
            if listed.get(cause, left_over) >= LEAST_CHANCE
            for part in parts
        }  # fmt: skip
        return frozenset(part for one in cleared for part in self.where.get(one, ())) - doubted

    def _probe(self, entry: Json) -> ProbeMark | None:
        check = self.knowledge.checks.get(str(entry["check"]))
        if check is None:
            return None
        short = {one.cause: f"S{one.number}" for one in self.suspects} | {HEALTHY: "healthy"}
        reads = [
            (short[one["cause"]], one["reads"])
            for one in entry.get("expect", ()) if one["cause"] in short
        ]  # fmt: skip
        alike = len(reads) > 1 and len({what for _, what in reads}) == 1
        expected = () if alike else tuple(f"if {who} {what}" for who, what in reads)
        if check.reading is None:
            row = self.knowledge.rows("drawing-checks").get(check.id, {})
            part = str(row.get("part", ""))
            return ProbeMark(check.name, check.kind, "", "", part, "", "", expected)
        one = check.reading
        plug = "plug fitted" if one.plug_fitted else "plug off"
        return ProbeMark(
            check.name, check.kind, *leads(one, self.coil), one.part, one.phase, plug, expected
        )

    def _read(self, index: int, finding: Json, reading: items.Reading) -> list[str]:
        """Return what was read, and what should have been."""
        cause, entry = self._evidence.get(index, ("", {}))
        to, (_, black) = "", leads(reading, self.coil)
        if black and black != "battery-negative":
            row = self.knowledge.rows("drawing-nodes").get(black, {})
            to = finding.get("measured_to", "").replace("-", " ") or row.get("label", black)
            to = f" to {to}"
        plug = f", plug {finding['plug']}" if finding.get("plug") else ""
        observed = entry.get("observed") or result_of(finding, self.knowledge)
        lines = [f"read {observed}{to}{plug}"]
        if entry:
            lines.append(f"healthy {entry['expected_if_healthy']}")
        if index in {one["finding"] for one in self.answer.get("set_aside", ())}:
            lines.append("set aside, does not count")
        elif self.suspects and cause == self.suspects[0].cause:
            lines.append(f"if S{self.suspects[0].number} {entry['expected_if_cause']}")
        return lines

    @cached_property
    def _evidence(self) -> dict[int, tuple[str, Json]]:
        """The cause and its evidence by finding: of the leading suspect, else of any cause."""
        lead = self.suspects[0].cause if self.suspects else ""
        found: dict[int, tuple[str, Json]] = {}
        for cause in sorted(self.causes, key=lambda one: bool(one["id"] != lead)):
            for one in cause["evidence"]:
                if not str(one["basis"]).startswith("rule:"):
                    found.setdefault(one["finding"], (cause["id"], one))
        return found


def leads(reading: items.Reading, coil: str) -> tuple[str, str]:
    """Return the points of the red and black lead; those of a case-ground coil when not known."""
    style = coil if coil in reading.from_node else next(iter(reading.from_node), "")
    return reading.from_node.get(style, ""), reading.to_node.get(style, "")
