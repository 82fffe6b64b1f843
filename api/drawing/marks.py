"""What an answer says about the parts and points of the circuit: good, suspect, read, to probe."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.drawing.text import NARROW, NO_BREAK
from engine import Knowledge
from engine.answer.words import percent
from engine.knowledge import items
from engine.physics.model import HEALTHY, NO_REPAIR

LEAST_CHANCE = 0.01  # a cause that is less likely is not called a suspect
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
        [part for change in state.changes if (part := _target(change, places))]
        for state in cause.states
    ]
    every = dict.fromkeys(part for state in states for part in state)
    shared = [part for part in every if all(part in state for state in states)]
    return tuple(shared or every)


def _target(change: items.Change, places: Mapping[str, str]) -> str:
    return change.id if change.target == "part" else places.get(change.id, "")


def make_marks(
    knowledge: Knowledge, findings: Mapping[int, Mapping[str, Any]], answer: Mapping[str, Any],
    coil: str, check: Mapping[str, Any] | None,
) -> Marks:  # fmt: skip
    """Return the marks of an answer; ``check`` is the one to do now."""
    places = {
        str(row["setting"]): name
        for name, row in knowledge.rows("drawing-parts").items() if "setting" in row
    }  # fmt: skip
    where = {name: parts_of(cause, places) for name, cause in knowledge.causes.items()}
    suspects = _suspects(answer, where)
    points, parts = _readings(knowledge, findings, answer, coil, suspects)
    because = (answer.get("advice") or {}).get("because") or ""
    return Marks(
        suspects=suspects,
        good=_good(knowledge, answer, where),
        probe=_probe(knowledge, check, coil, suspects) if check else None,
        instead=str(because),
        at_points=points,
        at_parts=parts,
    )


def _suspects(
    answer: Mapping[str, Any], where: Mapping[str, tuple[str, ...]]
) -> tuple[Suspect, ...]:
    named = [
        one for one in answer.get("causes", ())
        if one["probability"] >= LEAST_CHANCE and one["id"] not in NO_REPAIR
    ][:MOST_SUSPECTS]  # fmt: skip
    return tuple(
        Suspect(number, one["id"], one["name"], one["probability"], where.get(one["id"], ()))
        for number, one in enumerate(named, start=1)
    )


def _good(
    knowledge: Knowledge, answer: Mapping[str, Any], where: Mapping[str, tuple[str, ...]]
) -> frozenset[str]:
    """Return the parts that the findings prove good.

    Something is cleared there, and nothing else that could sit there is still likely. A cause that
    the answer does not list may have all that the listed ones leave over.
    """
    listed = {one["id"]: float(one["probability"]) for one in answer.get("causes", ())}
    left_over = 1.0 - sum(listed.values())
    cleared = {cause for proof in answer.get("proofs", ()) for cause in proof["clears"]}
    doubted = {
        part
        for cause in knowledge.causes if cause not in cleared
        if listed.get(cause, left_over) >= LEAST_CHANCE
        for part in where[cause]
    }  # fmt: skip
    return frozenset(part for cause in cleared for part in where.get(cause, ())) - doubted


def _probe(
    knowledge: Knowledge, entry: Mapping[str, Any], coil: str, suspects: Sequence[Suspect]
) -> ProbeMark | None:
    check = knowledge.checks.get(str(entry["check"]))
    if check is None:
        return None
    expected = tuple(
        f"if {name} {one['reads']}"
        for one in entry.get("expect", ())
        if (name := _short(one["cause"], suspects))
    )
    reading = check.reading
    if reading is None:
        row = knowledge.rows("drawing-checks").get(check.id, {})
        part = str(row.get("part", ""))
        return ProbeMark(check.name, check.kind, "", "", part, "", "", expected)
    red, black = leads(reading, coil)
    plug = "plug fitted" if reading.plug_fitted else "plug off"
    return ProbeMark(
        check.name, check.kind, red, black, reading.part, reading.phase, plug, expected
    )


def leads(reading: items.Reading, coil: str) -> tuple[str, str]:
    """Return the points of the red and black lead; those of a case-ground coil when not known."""
    style = coil if coil in reading.from_node else next(iter(reading.from_node), "")
    return reading.from_node.get(style, ""), reading.to_node.get(style, "")


def _short(cause: str, suspects: Sequence[Suspect]) -> str:
    if cause == HEALTHY:
        return "healthy"
    return next((f"S{one.number}" for one in suspects if one.cause == cause), "")


def _readings(
    knowledge: Knowledge, findings: Mapping[int, Mapping[str, Any]], answer: Mapping[str, Any],
    coil: str, suspects: Sequence[Suspect],
) -> tuple[dict[str, tuple[str, ...]], dict[str, tuple[str, ...]]]:  # fmt: skip
    """Return what was read, and what should have been, by point and by part."""
    points: dict[str, tuple[str, ...]] = {}
    parts: dict[str, tuple[str, ...]] = {}
    lead = suspects[0] if suspects else None
    said = _evidence(answer, lead.cause if lead else "")
    aside = {one["finding"] for one in answer.get("set_aside", ())}
    for index, finding in findings.items():
        check = knowledge.checks.get(str(finding.get("check", "")))
        if check is None or check.reading is None or finding.get("outcome") == "not-known":
            continue
        entry = said.get(index, {})
        lines = _lines(knowledge, finding, entry, check.reading, coil)
        if index in aside:
            lines.append("set aside, does not count")
        elif lead is not None and entry.get("cause") == lead.cause:
            lines.append(f"if S{lead.number} {entry['expected_if_cause']}")
        place, target = (parts, check.reading.part) if check.reading.part else (
            points, leads(check.reading, coil)[0]
        )  # fmt: skip
        place[target] = (*place.get(target, ()), *lines)
    return points, parts


def _evidence(answer: Mapping[str, Any], lead: str) -> dict[int, dict[str, Any]]:
    """Return one piece of evidence a finding: the leading cause's, else any other's."""
    found: dict[int, dict[str, Any]] = {}
    for cause in sorted(answer.get("causes", ()), key=lambda one: bool(one["id"] != lead)):
        for one in cause["evidence"]:
            if not str(one["basis"]).startswith("rule:"):
                found.setdefault(one["finding"], {**one, "cause": cause["id"]})
    return found


def _lines(
    knowledge: Knowledge, finding: Mapping[str, Any], entry: Mapping[str, Any],
    reading: items.Reading, coil: str,
) -> list[str]:  # fmt: skip
    observed = entry.get("observed") or _stated(finding)
    _, black = leads(reading, coil)
    to = ""
    if black and black != "battery-negative":
        label = str(knowledge.rows("drawing-nodes").get(black, {}).get("label", black))
        to = f" to {finding.get('measured_to', '').replace('-', ' ') or label}"
    plug = f", plug {finding['plug']}" if finding.get("plug") else ""
    lines = [f"read {observed}{to}{plug}"]
    if entry:
        lines.append(f"healthy {entry['expected_if_healthy']}")
    return lines


def _stated(finding: Mapping[str, Any]) -> str:
    """Return a finding as it was sent."""
    if finding.get("value") is not None:
        return f"{finding['value']:g} {finding.get('unit', '')}".strip()
    return str(finding.get("outcome", ""))
