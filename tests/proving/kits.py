"""What is at hand: the four kits that answers are scored with, what is asked, how it is ranked."""

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
    """Return what is found when every check of a kit is done once, the oldest first."""
    machine.begin()
    kinds, bench = KITS[kit]
    checks = sorted(machine.checks(kinds, bench), key=machine.told_before, reverse=True)
    return [machine.ask(check, machine.told_before(check)) for check in checks]


def request(
    machine: SimulatedMachine,
    found: Sequence[Mapping[str, Any]],
    repairs: Sequence[tuple[str, int]] = (),
    limit: int = 0,
    before: int | None = None,
) -> dict[str, Any]:
    """Return the diagnosis request of findings, after repairs that left the complaint.

    ``repairs`` are causes put right, each after how many findings. ``before`` is how many findings
    stand before the wrong part that was replaced; left out, all that the caller told of then.
    """
    if before is None:
        before = sum(machine.told_before(str(one["check"])) for one in found)
    done = [*((one, before) for one in machine.put_right), *repairs]
    return {
        "machine": machine.told, "findings": list(found), "limit": limit,
        "evidence": "leading",  # nobody here reads it, and it is most of an answer
        "done": [{"cause": one, "after": after - 1} for one, after in done],
    }  # fmt: skip


def rank(causes: Sequence[Mapping[str, Any]], truth: str) -> int:
    """Return the place of the true cause in an answer, 1 is first; 0 when it is not there."""
    names = [str(one["id"]) for one in causes]
    return names.index(truth) + 1 if truth in names else 0


def stands_alone(causes: Sequence[Mapping[str, Any]]) -> bool:
    """Return whether the lead is told apart from all others: no other is in its group."""
    lead = causes[0].get("group")
    return lead is None or all(one.get("group") != lead for one in causes[1:])
