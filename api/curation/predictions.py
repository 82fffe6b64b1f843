"""What checks show under causes, in words and decibans: the tables of the pages."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, TypeVar

from engine.answer import explain
from engine.answer.documents import Document, same
from engine.audit.groups import PHONE, look_alikes
from engine.audit.separation import TOLD_APART_DB, Separation, Survey, circuit_of, machine_words
from engine.knowledge import items
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


Row = TypeVar("Row", Shows, Tells)
Made = tuple[Machine, str, list[Shows], list[TakenFor]]  # healthy, rows and rivals on a machine


def _reads(separation: Separation, check: str, cause: str) -> str:
    """Return in words what a check shows under a cause on a machine."""
    return explain.expected(separation.model, MeasurementConditions(check), cause)[0]


def shown(kind: type[Row], separation: Separation, check: str, cause: str, other: str) -> Row:
    """Return what a check shows under a cause beside another."""
    mine, its = (_reads(separation, check, one) for one in (cause, other))
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
            found.append((machine, "", rows, rivals))
    return _merged(survey, found)


def of_check(survey: Survey, check: str, machines: Sequence[Machine]) -> list[OnCircuit]:
    """Return, by circuit, what a check shows on a good machine and under each cause it shows."""
    found: list[Made] = []
    for machine, separation in _separated(survey, machines):
        if check in separation.checks:
            rows = [
                shown(Shows, separation, check, cause, HEALTHY)
                for cause in separation.causes
                if separation.at(check, cause, HEALTHY) >= LEAST_DB
            ]
            good = _reads(separation, check, HEALTHY)
            found.append((machine, good, _gathered(rows), []))
    return _merged(survey, found)


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


def _merged(survey: Survey, made: Sequence[Made]) -> list[OnCircuit]:
    """Return one entry for coil styles of a circuit whose tables say the same to a reader."""
    merged: dict[object, OnCircuit] = {}
    for machine, healthy, rows, rivals in made:
        circuit = circuit_of(survey.knowledge, machine)
        said = tuple((row.check, row.causes, row.mine, row.other) for row in rows)
        taken = tuple((row.cause, row.told_apart, row.by[0].check) for row in rivals)
        key = circuit.id, healthy, said, taken
        coils = (*merged[key].coils, machine.coil) if key in merged else (machine.coil,)
        first = merged.get(key) or OnCircuit(
            circuit.id, circuit.name, coils, healthy, tuple(rows), tuple(rivals)
        )
        merged[key] = replace(first, coils=coils)
    return list(merged.values())


# least decibans -> sign in the table
SIGNS = ((20.0, "#"), (10.0, "*"), (5.0, "+"), (1.0, "."), (0.0, " "))
_SCALE = "decibans expected: # 20 and more, * 10 to 20, + 5 to 10, . 1 to 5; 10 is ten to one"


def matrix(survey: Survey, machine: Machine) -> str:
    """Return causes by checks: a row a check, a column a cause, a sign for the decibans.

    Each cause is held against a healthy circuit; what can be asked stands first.
    """
    separation = survey.of(machine)
    kinds = dict(zip(separation.checks, map(items.KINDS.index, separation.kinds), strict=True))
    order = sorted(separation.checks, key=lambda one: (kinds[one], one))
    causes = [name for name in separation.causes if name != HEALTHY]
    wide, numbers = max(map(len, order)), range(1, len(causes) + 1)
    rows = {
        name: "".join(sign(separation.at(name, one, HEALTHY)) for one in causes) for name in order
    }
    entries = [f"{n:2} {name}" for n, name in enumerate(causes, start=1)]
    column = max(map(len, entries)) + 2
    across = max(1, 88 // column)
    legend = (entries[n : n + across] for n in range(0, len(entries), across))
    return "\n".join([
        f"{machine_words(survey.knowledge, [machine])}: each cause against '{HEALTHY}'",
        " " * wide + "  " + "".join(str(n // 10) if n >= 10 else " " for n in numbers),
        " " * wide + "  " + "".join(str(n % 10) for n in numbers),
        *(f"{name:{wide}}  {signs}".rstrip() for name, signs in rows.items()), "",
        *("".join(f"{one:{column}}" for one in row).rstrip() for row in legend), "", _SCALE,
    ])  # fmt: skip


def sign(decibans: float) -> str:
    """Return the sign that stands for so many decibans."""
    return next(found for least, found in SIGNS if decibans >= least)
