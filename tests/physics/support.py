"""One made-up fault beside the healthy circuit: what the engine's tests look at."""

from engine.knowledge import Knowledge, items
from engine.physics.behaviour import NEW_FUSE, NEW_FUSE_AFTER, SITUATIONS, fuse_openings
from engine.physics.hypotheses import Hypothesis, make_cases, spread
from engine.physics.machine import Variant
from engine.physics.model import VariantModel, solve_hypotheses
from engine.physics.solution import Situation, Solution, solve_situations

HEALTHY = Hypothesis("healthy", "healthy", 1.0, ())
GOOD, FAULTY = 0, 1  # their places in what is solved here


def shipped_fault(knowledge: Knowledge, cause: str, variant: Variant, place: int = 0) -> Hypothesis:
    """Return a shipped cause at one of its severities, 0 the mildest and -1 the worst."""
    return spread(knowledge.causes[cause], variant.system_volts)[place]


def fault(*changes: items.Change) -> Hypothesis:
    """Return a hypothesis of its own with these changes."""
    return Hypothesis("made-up", "made-up", 1.0, changes)


def part(name: str, action: str, value: float = 0.0, **phases: tuple[str, ...]) -> items.Change:
    """Return a change of a part: ``open``, ``closed``, ``never``, ``ohms``, ``add_ohms`` ..."""
    return items.Change("part", name, action, value, value, **phases)


def setting(name: str, value: float) -> items.Change:
    """Return a change of a setting to a value."""
    return items.Change("setting", name, "value", value, value)


def solved(variant: Variant, hypothesis: Hypothesis, *situations: Situation) -> Solution:
    """Solve the healthy circuit (place 0) and a fault (place 1)."""
    cases = make_cases([HEALTHY, hypothesis], variant)
    (found,) = solve_situations([cases], [*SITUATIONS, *situations])
    return found


def predicted(knowledge: Knowledge, variant: Variant, hypothesis: Hypothesis) -> VariantModel:
    """Predict everything for the healthy circuit (place 0) and a fault (place 1)."""
    cases = make_cases([HEALTHY, hypothesis], variant)
    once, _ = fuse_openings(solved(variant, hypothesis, NEW_FUSE, NEW_FUSE_AFTER))
    (found,) = solve_hypotheses(knowledge, [(cases, once)])
    return found
