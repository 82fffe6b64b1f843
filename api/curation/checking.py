"""``kb check``: what the loader and the audit find, in one list."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from api.curation.starters import unfilled
from engine import Diagnoser, Fault
from engine.audit import audit
from engine.knowledge.inspection import inspect


@dataclass(frozen=True)
class Checked:
    """The faults of a base, in order of place, and what is worth knowing about it."""

    faults: list[Fault]
    notes: list[str]


def check_base(overlays: Sequence[Path]) -> Checked:
    """Check the shipped base with ``overlays`` laid over it.

    Files that the loader refuses are left out for the audit, so that they hide nothing.
    """
    inspection = inspect(overlays)
    if inspection.knowledge is None:
        return Checked(inspection.faults, [])
    found = audit(Diagnoser(inspection.knowledge))
    faults = [*inspection.faults, *found.faults, *unfilled(inspection.knowledge)]
    notes = [
        f"{', '.join(rules)}: '{fact}' is concluded and no rule asks for it"
        for fact, rules in found.unused_facts.items()
    ]
    return Checked(sorted(set(faults)), notes)
