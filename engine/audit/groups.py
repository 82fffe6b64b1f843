"""Which causes no check, or no question asked by phone, can tell apart, and what would."""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from engine.answer.answer import HIDDEN
from engine.audit.separation import Separation, Survey, circuit_of
from engine.knowledge import Knowledge
from engine.physics.machine import Machine

PHONE = ("ask",)
LOOK_ALIKES = "look-alikes"
Level = Literal["no-check", "phone"]
Pair = tuple[str, str]


@dataclass(frozen=True)
class LookAlike:
    """A declared reason why some causes cannot be told apart.

    It holds on ``circuits``; none is all.
    """

    id: str
    causes: tuple[str, ...] = field(metadata=HIDDEN)
    circuits: tuple[str, ...] = field(metadata=HIDDEN)
    reason: str
    told_apart_by: tuple[str, ...] = field(metadata=HIDDEN)

    def covers(self, pair: Iterable[str], circuit: str) -> bool:
        """Return whether two causes on a circuit are declared here."""
        return set(pair) <= set(self.causes) and (not self.circuits or circuit in self.circuits)


@dataclass(frozen=True)
class AlikeGroup:
    """Causes of which no two are told apart on some machines of one circuit.

    ``told_apart_by`` are checks that would tell them apart, in the order in which they help most;
    ``never`` are pairs that nothing tells apart, ``declared`` the rows that say why.
    """

    level: Level
    circuit: str
    coils: tuple[str, ...]
    causes: tuple[str, ...]
    told_apart_by: tuple[str, ...]
    never: tuple[Pair, ...]
    declared: tuple[LookAlike, ...]
    machines: tuple[Machine, ...] = field(metadata=HIDDEN)


def look_alikes(knowledge: Knowledge) -> list[LookAlike]:
    """Return the declared look-alikes; a row that lacks its fields is left to the audit."""
    if LOOK_ALIKES not in knowledge.tables:
        return []
    return [read_row(row) for row in knowledge.tables[LOOK_ALIKES].rows]


def read_row(row: Mapping[str, Any]) -> LookAlike:
    """Read a row of kb/tables/look-alikes.yaml, missing fields as empty."""

    def texts(key: str) -> tuple[str, ...]:
        value = row.get(key)
        return tuple(str(one) for one in value) if isinstance(value, list) else ()

    return LookAlike(
        str(row.get("id", "")), texts("causes"), texts("circuits"),
        " ".join(str(row.get("reason") or "").split()), texts("told_apart_by"),
    )  # fmt: skip


def groups(survey: Survey, level: Level, machines: Sequence[Machine]) -> list[AlikeGroup]:
    """Return the groups on some machines; groups of the same causes on one circuit are one."""
    found: dict[tuple[str, tuple[str, ...]], list[Separation]] = {}
    kinds = PHONE if level == "phone" else None
    for machine in machines:
        separation = survey.of(machine)
        circuit = circuit_of(survey.knowledge, machine).id
        for causes in cliques(separation.alike(kinds)):
            found.setdefault((circuit, causes), []).append(separation)
    made = [_group(survey, level, key, same) for key, same in found.items()]
    return sorted(made, key=lambda one: (one.circuit, -len(one.causes), one.causes))


def _group(
    survey: Survey, level: Level, key: tuple[str, tuple[str, ...]], same: Sequence[Separation]
) -> AlikeGroup:
    circuit, causes = key
    chosen, never = separators(survey.knowledge, same[0], causes)
    declared = [
        row
        for row in look_alikes(survey.knowledge)
        if any(row.covers(pair, circuit) for pair in never)
    ]
    machines = tuple(one.machine for one in same)
    coils = tuple(dict.fromkeys(one.coil for one in machines))
    return AlikeGroup(level, circuit, coils, causes, chosen, never, tuple(declared), machines)


def separators(
    knowledge: Knowledge, separation: Separation, causes: Sequence[str]
) -> tuple[tuple[str, ...], tuple[Pair, ...]]:
    """Return checks that tell causes apart, most pairs first, and the pairs that none does.

    Greedy cover: each check is the one that tells most of the pairs left, the quickest of equals.
    """
    tells = separation.told_apart(sorted(causes))
    left = set(itertools.combinations(sorted(causes), 2))
    chosen: list[str] = []
    while left:
        minutes = {name: knowledge.checks[name].minutes for name in tells}
        best = min(tells, key=lambda name: (-len(tells[name] & left), minutes[name], name))
        if not tells[best] & left:
            break
        chosen.append(best)
        left -= tells[best]
    return tuple(chosen), tuple(sorted(left))


def cliques(pairs: Iterable[Pair]) -> list[tuple[str, ...]]:
    """Return the largest sets in which every two form one of the pairs (Bron and Kerbosch 1973)."""
    near: dict[str, set[str]] = {}
    for first, second in pairs:
        near.setdefault(first, set()).add(second)
        near.setdefault(second, set()).add(first)
    found: list[tuple[str, ...]] = []

    def grow(clique: set[str], may: set[str], done: set[str]) -> None:
        if not may and not done:
            found.append(tuple(sorted(clique)))
            return
        pivot = max(sorted(may | done), key=lambda one: len(may & near[one]))
        for one in sorted(may - near[pivot]):
            grow(clique | {one}, may & near[one], done & near[one])
            may = may - {one}
            done = done | {one}

    if near:
        grow(set(), set(near), set())
    return sorted(found)
