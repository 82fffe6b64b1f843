"""What is at hand: the four kits that answers are scored with, and how an answer is ranked."""

from collections.abc import Mapping, Sequence
from typing import Any

from tests.proving.simulator import SimulatedMachine

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
    """Return the place of the true cause in an answer, 1 is first; 0 when it is not there."""
    names = [str(one["id"]) for one in causes]
    return names.index(truth) + 1 if truth in names else 0


def stands_alone(causes: Sequence[Mapping[str, Any]]) -> bool:
    """Return whether the lead is told apart from all others: no other is in its group."""
    lead = causes[0].get("group")
    return lead is None or all(one.get("group") != lead for one in causes[1:])
