"""Checks of the whole knowledge base that need the solved circuits, and what they show.

Pure: a base in, faults and tables out. The loader (engine.knowledge) has seen to text, shape and
cross-references before.
"""

from dataclasses import dataclass

from engine.audit.conditions import impossible_faults, unused_facts
from engine.audit.coverage import coverage_faults
from engine.audit.groups import AlikeGroup, groups, look_alikes, separators
from engine.audit.separation import Separation, Survey, machines, separate
from engine.audit.steps import step_faults
from engine.diagnosis import Diagnoser
from engine.knowledge import Fault

__all__ = [
    "AlikeGroup", "Audit", "Separation", "Survey", "audit", "groups", "look_alikes", "machines",
    "separate", "separators",
]  # fmt: skip


@dataclass(frozen=True)
class Audit:
    """What is wrong with a base, and what is worth knowing about it."""

    faults: list[Fault]
    unused_facts: dict[str, list[str]]


def audit(diagnoser: Diagnoser) -> Audit:
    """Check a base that has loaded, over every circuit, coil style and voltage."""
    knowledge = diagnoser.knowledge
    faults = [
        *coverage_faults(Survey(diagnoser)),
        *impossible_faults(knowledge),
        *step_faults(knowledge),
    ]
    return Audit(sorted(set(faults)), unused_facts(knowledge))
