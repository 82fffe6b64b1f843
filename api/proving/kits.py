"""What is at hand: the four kits that answers are scored with, and how an answer is ranked."""

from collections.abc import Mapping, Sequence
from typing import Any

from api.proving.world import SimulatedMachine

KITS: dict[str, tuple[frozenset[str], bool]] = {
    "ask": (frozenset({"ask"}), False),
    "ask-look-try": (frozenset({"ask", "look", "try"}), False),
    "lamp-bench": (frozenset({"ask", "look", "try", "lamp"}), True),
    "all": (frozenset({"ask", "look", "try", "lamp", "meter", "clamp"}), True),
}


def findings(machine: SimulatedMachine, kit: str) -> list[dict[str, Any]]:
    """Return what is found when every check of a kit is done once."""
    kinds, bench = KITS[kit]
    return [machine.ask(check) for check in machine.checks(kinds, bench)]


def rank(causes: Sequence[Mapping[str, Any]], truth: str) -> int:
    """Return the place of the true cause, 1 is first; 0 when it is not in the answer.

    Causes of one group stand in no order, so the truth takes the last place of those of its group
    that stand together with it: first is only what stands alone.
    """
    names = [str(one["id"]) for one in causes]
    if truth not in names:
        return 0
    place = names.index(truth)
    group = causes[place].get("group")
    while place + 1 < len(causes) and causes[place + 1].get("group") == group:
        place += 1
    return place + 1
