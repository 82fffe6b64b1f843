"""Checks of the whole knowledge base that need the solved circuits, and what they show.

Pure: a base in, faults and tables out. The loader (engine.knowledge) has seen to text, shape and
cross-references before.
"""

from engine.audit.coverage import coverage_faults
from engine.audit.separation import Survey
from engine.audit.steps import step_faults
from engine.diagnosis import Diagnoser
from engine.knowledge import Fault


def audit(diagnoser: Diagnoser) -> list[Fault]:
    """Return the faults of a base that has loaded, over every circuit, coil style and voltage."""
    return [*coverage_faults(Survey(diagnoser)), *step_faults(diagnoser.knowledge)]
