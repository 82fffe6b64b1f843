"""Ambiguity groups as a page of text."""

from collections.abc import Iterator, Sequence

from api.answers.text import Line, Section
from engine.audit.groups import AlikeGroup, Level
from engine.physics.machine import Machine

_TITLES: dict[Level, str] = {
    "no-check": "No check tells these apart",
    "phone": "No question by phone tells these apart",
}


def sections(
    level: Level, found: Sequence[AlikeGroup], looked_at: Sequence[Machine], told: set[str]
) -> list[Section]:
    """Return the groups of a level, a section a circuit.

    ``looked_at`` are all machines; ``told`` are the reasons given in full before, by id.
    """
    circuits = dict.fromkeys(one.circuit for one in found)
    return [
        Section(
            f"{_TITLES[level]}: {circuit}",
            [
                line
                for number, one in enumerate(_of(found, circuit), start=1)
                for line in _lines(one, number, looked_at, told)
            ],
        )
        for circuit in circuits
    ]


def _of(found: Sequence[AlikeGroup], circuit: str) -> list[AlikeGroup]:
    return [one for one in found if one.circuit == circuit]


def _lines(
    group: AlikeGroup, number: int, looked_at: Sequence[Machine], told: set[str]
) -> Iterator[Line]:
    yield Line(f"{', '.join(group.causes)}{_only(group, looked_at)}", f"{number}.")
    if group.told_apart_by:
        yield Line(f"Told apart by: {', '.join(group.told_apart_by)}", indent=1)
    for first, second in group.never if group.level == "phone" else ():
        yield Line(f"{first} and {second}: by no check at all", indent=1)
    for row in group.declared:
        why = "as above" if row.id in told else row.reason
        told.add(row.id)
        yield Line(f"Reason ({row.id}): {why}", indent=1)
    if group.never and not group.declared:
        yield Line("No reason is declared: kb check reports it.", indent=1)


def _only(group: AlikeGroup, looked_at: Sequence[Machine]) -> str:
    """Return the coil styles that a group is limited to, of those that were looked at."""
    coils = dict.fromkeys(one.coil for one in group.machines)
    every = {one.coil for one in looked_at}
    return f" ({', '.join(coils)} only)" if len(coils) < len(every) else ""
