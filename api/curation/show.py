"""Items of the knowledge base, and the causes that nothing tells apart, as pages of text."""

import sys
from collections.abc import Iterator, Sequence

from api.answers.text import Line, Section, sections_of
from api.curation.facts import Page
from api.curation.reference import templates
from engine.audit.groups import AlikeGroup, Level
from engine.physics.machine import Machine

MOST_ROWS = 10
_NOTHING_TELLS: dict[Level, str] = {
    "no-check": "No check tells these apart",
    "phone": "No question by phone tells these apart",
}


def sections(page: Page, whole: bool = False) -> list[Section]:
    """Return the page in sections; ``whole`` leaves no row of a table out."""
    most = sys.maxsize if whole else MOST_ROWS
    return sections_of(templates().get_template("text/page.txt").render(page=page, most=most))


def group_sections(
    level: Level, found: Sequence[AlikeGroup], looked_at: Sequence[Machine], told: set[str]
) -> list[Section]:
    """Return the groups of a level, a section a circuit.

    ``looked_at`` are all machines; ``told`` are the reasons given in full before, by id.
    """
    coils = {one.coil for one in looked_at}
    by_circuit: dict[str, list[AlikeGroup]] = {}
    for one in found:
        by_circuit.setdefault(one.circuit, []).append(one)
    return [
        Section(f"{_NOTHING_TELLS[level]}: {circuit}", [
            line for number, one in enumerate(same, start=1)
            for line in _group(one, number, len(coils), told)
        ])
        for circuit, same in by_circuit.items()
    ]  # fmt: skip


def _group(group: AlikeGroup, number: int, coils: int, told: set[str]) -> Iterator[Line]:
    only = f" ({', '.join(group.coils)} only)" if len(group.coils) < coils else ""
    yield Line(f"{', '.join(group.causes)}{only}", f"{number}.")
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
