"""What checks show under causes, in words and decibans: the tables of the pages."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, TypeVar

from engine.answer import explain
from engine.answer.documents import Document, same
from engine.audit.groups import PHONE, look_alikes
from engine.audit.separation import TOLD_APART_DB, Separation, Survey, circuit_of
from engine.physics.conditions import MeasurementConditions
from engine.physics.machine import Machine
from engine.physics.model import HEALTHY

LEAST_DB = 3.0  # judgement: what a check hardly shows is left out of the tables
MOST_RIVALS = 6
TELLING = 3  # checks by which a rival is told apart


@dataclass(frozen=True)
class Shows(Document):
    """A check that shows a cause, beside what it reads on a good machine."""

    DOCUMENT: ClassVar = {
        "check": "check", "decibans": "rounded", "reads": "mine", "healthy_reads": "other",
    }  # fmt: skip

    check: str
    causes: tuple[str, ...]
    mine: str
    other: str
    decibans: float

    @property
    def rounded(self) -> float:
        """Return the decibans to a tenth."""
        return round(self.decibans, 1)


@dataclass(frozen=True)
class Tells(Shows):
    """A check that tells a cause from a rival."""

    DOCUMENT: ClassVar = {
        "check": "check", "decibans": "rounded", "reads": "mine", "rival_reads": "other",
    }  # fmt: skip


@dataclass(frozen=True)
class TakenFor(Document):
    """A cause that another is taken for: the checks that tell most, or why none does."""

    DOCUMENT: ClassVar = same("cause", "told_apart", "reason", "by")

    cause: str
    decibans: float
    by: tuple[Tells, ...]
    reason: str | None = None

    @property
    def told_apart(self) -> bool:
        """Return whether some check tells the two apart."""
        return self.decibans >= TOLD_APART_DB


@dataclass(frozen=True)
class OnCircuit(Document):
    """What shows a cause on one circuit, with the coil styles for which it holds as it stands."""

    DOCUMENT: ClassVar = same("circuit", "coils") | {"shows": "rows", "taken_for": "rivals"}

    circuit: str
    name: str
    coils: tuple[str, ...]
    healthy: str
    rows: tuple[Shows, ...]
    rivals: tuple[TakenFor, ...]


def expected(separation: Separation, check: str, cause: str) -> str:
    """Return in words what a check shows under a cause on a machine."""
    return explain.expected(separation.model, MeasurementConditions(check), cause)[0]


Row = TypeVar("Row", Shows, Tells)


def shown(kind: type[Row], separation: Separation, check: str, cause: str, other: str) -> Row:
    """Return what a check shows under a cause beside another."""
    mine, its = (expected(separation, check, one) for one in (cause, other))
    return kind(check, (cause,), mine, its, separation.at(check, cause, other))


def of_cause(survey: Survey, cause: str, machines: Sequence[Machine]) -> list[OnCircuit]:
    """Return, by circuit, the checks that show a cause and the causes it is taken for."""
    found = []
    for machine, separation in _separated(survey, machines):
        if cause in separation.causes:
            rows = [
                shown(Shows, separation, check, cause, HEALTHY)
                for check, value in separation.ranked(cause, HEALTHY)
                if value >= LEAST_DB
            ]
            rivals = [rival(survey, machine, cause, one) for one in taken_for(separation, cause)]
            found.append(_on_circuit(survey, machine, "", rows, rivals))
    return _merged(found)


def _separated(survey: Survey, machines: Sequence[Machine]) -> Iterator[tuple[Machine, Separation]]:
    """Yield the machines that may be healthy, each with what its checks tell apart."""
    for machine in machines:
        separation = survey.of(machine)
        if HEALTHY in separation.causes:
            yield machine, separation


def taken_for(separation: Separation, cause: str) -> list[str]:
    """Return the causes that a cause is taken for.

    Those that no check tells from it, then those that a caller's answers tell least.
    """
    never = [name for name, value in separation.rivals(cause) if value < TOLD_APART_DB]
    phone = [name for name, _ in separation.rivals(cause, PHONE)]
    return list(dict.fromkeys([*never, *phone]))[:MOST_RIVALS]


def rival(survey: Survey, machine: Machine, cause: str, other: str) -> TakenFor:
    """Return a rival with the few checks that say most about the two."""
    separation = survey.of(machine)
    best = separation.ranked(cause, other)
    by = [shown(Tells, separation, check, cause, other) for check, _ in best[:TELLING]]
    circuit = circuit_of(survey.knowledge, machine).id
    reasons = [
        row.reason
        for row in look_alikes(survey.knowledge)
        if best[0][1] < TOLD_APART_DB and row.covers((cause, other), circuit)
    ]
    return TakenFor(other, best[0][1], tuple(by), " ".join(reasons) or None)


def of_check(survey: Survey, check: str, machines: Sequence[Machine]) -> list[OnCircuit]:
    """Return, by circuit, what a check shows on a good machine and under each cause it shows."""
    found = []
    for machine, separation in _separated(survey, machines):
        if check in separation.checks:
            rows = [
                shown(Shows, separation, check, cause, HEALTHY)
                for cause in separation.causes
                if separation.at(check, cause, HEALTHY) >= LEAST_DB
            ]
            good = expected(separation, check, HEALTHY)
            found.append(_on_circuit(survey, machine, good, _gathered(rows), []))
    return _merged(found)


def _gathered(rows: Sequence[Shows]) -> list[Shows]:
    """Return the rows with causes that show the same put together, the most telling first."""
    together: dict[str, list[Shows]] = {}
    for row in rows:
        together.setdefault(row.mine, []).append(row)
    gathered = [
        replace(
            same[0],
            causes=tuple(sorted(cause for row in same for cause in row.causes)),
            decibans=max(row.decibans for row in same),
        )
        for same in together.values()
    ]
    return sorted(gathered, key=lambda one: (-round(one.decibans, 6), one.causes))


def _on_circuit(
    survey: Survey,
    machine: Machine,
    healthy: str,
    rows: Sequence[Shows],
    rivals: Sequence[TakenFor],
) -> OnCircuit:
    one = circuit_of(survey.knowledge, machine)
    return OnCircuit(one.id, one.name, (machine.coil,), healthy, tuple(rows), tuple(rivals))


def _merged(found: Sequence[OnCircuit]) -> list[OnCircuit]:
    """Return one entry for coil styles of a circuit whose tables say the same."""
    merged: dict[object, OnCircuit] = {}
    for one in found:
        twin = merged.get(_says(one))
        merged[_says(one)] = replace(twin, coils=(*twin.coils, *one.coils)) if twin else one
    return list(merged.values())


def _says(one: OnCircuit) -> tuple[object, ...]:
    """Return what a person reads in an entry, so that equal ones can be told."""
    rows = tuple((row.check, row.causes, row.mine, row.other) for row in one.rows)
    rivals = tuple((row.cause, row.told_apart, row.by[0].check) for row in one.rivals)
    return one.circuit, one.healthy, rows, rivals
