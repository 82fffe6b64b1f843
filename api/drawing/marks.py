"""What an answer says about the parts and points of the circuit: good, suspect, read, to probe."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

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

    @property
    def suspected(self) -> list[str]:
        """Return the parts in which a suspect would sit, the likeliest first."""
        return list(dict.fromkeys(part for one in self.suspects for part in one.parts))

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


def marks_of(
    knowledge: Knowledge, answer: Json, coil: str, findings: Mapping[int, Json], check: Json | None
) -> Marks:
    """Return all marks of an answer; ``findings`` by their place, ``check`` is to be done now."""
    where = _where(knowledge)
    causes: Sequence[Json] = answer.get("causes", ())
    named = [
        one for one in causes
        if one["probability"] >= LEAST_SUSPECT and one["id"] not in NO_REPAIR
    ][:MOST_SUSPECTS]  # fmt: skip
    suspects = tuple(
        Suspect(number, one["id"], one["name"], one["probability"], where.get(one["id"], ()))
        for number, one in enumerate(named, start=1)
    )
    evidence = _evidence(causes, suspects)
    points: dict[str, tuple[str, ...]] = {}
    parts: dict[str, tuple[str, ...]] = {}
    for index, finding in findings.items():
        known = knowledge.checks.get(str(finding.get("check", "")))
        if known and known.reading and finding.get("outcome") != "not-known":
            part, (red, black) = known.reading.part, leads(known.reading, coil)
            place, target = (parts, part) if part else (points, red)
            cause, entry = evidence.get(index, ("", {}))
            lines = [_read(knowledge, finding, black, entry.get("observed"))]
            lines += [f"healthy {entry['expected_if_healthy']}"] if entry else []
            if index in {one["finding"] for one in answer.get("set_aside", ())}:
                lines.append("set aside, does not count")
            elif suspects and cause == suspects[0].cause:
                lines.append(f"if S{suspects[0].number} {entry['expected_if_cause']}")
            place[target] = (*place.get(target, ()), *lines)
    because = (answer.get("advice") or {}).get("because") or ""
    probe = _probe(knowledge, check, suspects, coil) if check else None
    return Marks(suspects, _good(answer, where), probe, str(because), points, parts)


def _where(knowledge: Knowledge) -> Mapping[str, tuple[str, ...]]:
    """Return the parts in which each cause sits."""
    rows = knowledge.rows("drawing-parts")
    places = {str(row["setting"]): name for name, row in rows.items() if "setting" in row}
    return {name: parts_of(one, places) for name, one in knowledge.causes.items()}


def _good(answer: Json, where: Mapping[str, tuple[str, ...]]) -> frozenset[str]:
    """Return the parts that the findings prove good.

    Something is cleared there, and nothing else that could sit there is still likely. A cause
    that the answer does not list may have all that the listed ones leave over.
    """
    listed = {one["id"]: float(one["probability"]) for one in answer.get("causes", ())}
    left_over = 1.0 - sum(listed.values())
    cleared = {cause for proof in answer.get("proofs", ()) for cause in proof["clears"]}
    doubted = {
        part
        for cause, parts in where.items() if cause not in cleared
        if listed.get(cause, left_over) >= LEAST_CHANCE
        for part in parts
    }  # fmt: skip
    return frozenset(part for one in cleared for part in where.get(one, ())) - doubted


def _probe(
    knowledge: Knowledge, entry: Json, suspects: Sequence[Suspect], coil: str
) -> ProbeMark | None:
    check = knowledge.checks.get(str(entry["check"]))
    if check is None:
        return None
    short = {one.cause: f"S{one.number}" for one in suspects} | {HEALTHY: "healthy"}
    reads = [
        (short[one["cause"]], one["reads"])
        for one in entry.get("expect", ()) if one["cause"] in short
    ]  # fmt: skip
    alike = len(reads) > 1 and len({what for _, what in reads}) == 1
    expected = () if alike else tuple(f"if {who} {what}" for who, what in reads)
    one = check.reading
    if one is None:
        part = str(knowledge.rows("drawing-checks").get(check.id, {}).get("part", ""))
        return ProbeMark(check.name, "", "", part, "", "", expected)
    plug = "plug fitted" if one.plug_fitted else "plug off"
    return ProbeMark(check.name, *leads(one, coil), one.part, one.phase, plug, expected)


def _read(knowledge: Knowledge, finding: Json, black: str, observed: str | None) -> str:
    """Return what was read, and to where."""
    to = ""
    if black and black != "battery-negative":
        row = knowledge.rows("drawing-nodes").get(black, {})
        measured_to = finding.get("measured_to", "").replace("-", " ")
        to = f" to {measured_to or row.get('label', black)}"
    plug = f", plug {finding['plug']}" if finding.get("plug") else ""
    return f"read {observed or result_of(finding, knowledge)}{to}{plug}"


def _evidence(
    causes: Sequence[Json], suspects: Sequence[Suspect]
) -> Mapping[int, tuple[str, Json]]:
    """Return the cause and its evidence by finding: of the leading suspect, else of any cause."""
    lead = suspects[0].cause if suspects else ""
    found: dict[int, tuple[str, Json]] = {}
    for cause in sorted(causes, key=lambda one: bool(one["id"] != lead)):
        for one in cause["evidence"]:
            if not str(one["basis"]).startswith("rule:"):
                found.setdefault(one["finding"], (cause["id"], one))
    return found


def leads(reading: items.Reading, coil: str) -> tuple[str, str]:
    """Return the points of the red and black lead; those of a case-ground coil when not known."""
    style = coil if coil in reading.from_node else next(iter(reading.from_node), "")
    return reading.from_node.get(style, ""), reading.to_node.get(style, "")
