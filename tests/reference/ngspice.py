"""Writes solved networks as ngspice decks and reads back what ngspice makes of them.

One deck carries many networks, each an island of its own nodes above the common ground. Every
branch is an ideal source in series with a resistor, so that ngspice solves for its current as an
unknown of its own. ngspice ends with status 0 on a bad deck: the text it prints is what counts.
"""

import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pytest

REQUIRED = "TESTS_REQUIRE_NGSPICE"
ISLANDS_A_DECK = 5  # quickest: the solver takes longer than in proportion on large decks
_VALUE = re.compile(r"^(?P<name>\S+) = (?P<value>[-+0-9.e]+)\s*$", re.MULTILINE)
_COMPLAINT = re.compile(r"^.*\b(?:warning|singular|error)\b.*$", re.IGNORECASE | re.MULTILINE)


class DeckError(Exception):
    """ngspice complained, or left a value out."""


def program() -> str:
    """Return the path of ngspice; skips the test without it, or fails where it is required."""
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get(REQUIRED, "") not in ("", "0"):
            pytest.fail(f"{REQUIRED} is set and ngspice is not installed")
        pytest.skip("ngspice is not installed (Debian package ngspice)")
    return found


@dataclass(frozen=True)
class Wire:
    """One branch: from node to node through ``ohms``, ``volts`` pushing from start to end."""

    start: str
    end: str
    ohms: float
    volts: float = 0.0


@dataclass(frozen=True)
class Island:
    """One network: its branches by name, its ground, and what every node leaks to ground."""

    wires: Mapping[str, Wire]
    nodes: Sequence[str]
    ground: str
    leak_ohms: float
    test_amps: tuple[str, str] | None = None  # one ampere pushed into the first, out of the second


@dataclass
class Result:
    """Node voltages in volts above ground, and branch currents in amperes from start to end."""

    volts: dict[str, float] = field(default_factory=dict)
    amps: dict[str, float] = field(default_factory=dict)


def solve(islands: Sequence[Island]) -> list[Result]:
    """Solve networks with ngspice, some at a time. Raises DeckError."""
    found: list[Result] = []
    for first in range(0, len(islands), ISLANDS_A_DECK):
        found += _solve_deck(islands[first : first + ISLANDS_A_DECK])
    return found


def run(deck: str) -> dict[str, float]:
    """Run one deck; return what it printed. Raises DeckError on any complaint."""
    done = subprocess.run(
        [program(), "-b", "/dev/stdin"], input=deck, capture_output=True, text=True, check=False,
        timeout=120,
    )  # fmt: skip
    complaint = _COMPLAINT.search(done.stdout + "\n" + done.stderr)
    if complaint or done.returncode:
        raise DeckError(f"status {done.returncode}: {complaint and complaint.group()}")
    return {m["name"]: float(m["value"]) for m in _VALUE.finditer(done.stdout)}


def _solve_deck(islands: Sequence[Island]) -> list[Result]:
    lines, wanted = ["* networks of a pull and hold solenoid circuit"], []
    names = [_Names(number, island) for number, island in enumerate(islands)]
    for one in names:
        lines += one.elements()
        wanted += one.wanted()
    prints = [f"print {name}" for name in wanted]
    values = run("\n".join(
        [*lines, ".control", "set numdgt=12", "op", *prints, "quit 0", ".endc", ".end", ""]
    ))  # fmt: skip
    missing = [name for name in wanted if name not in values]
    if missing:
        raise DeckError(f"{len(missing)} values missing, first {missing[0]}")
    return [one.result(values) for one in names]


class _Names:
    """The deck's names for one island: nodes and branches by number."""

    def __init__(self, number: int, island: Island) -> None:
        self.island = island
        self.prefix = f"x{number}"
        self.node = {name: f"{self.prefix}n{n}" for n, name in enumerate(island.nodes)}
        self.node[island.ground] = "0"
        self.branch = {name: f"{self.prefix}b{n}" for n, name in enumerate(island.wires)}

    def elements(self) -> list[str]:
        """Return the deck's lines for the island."""
        lines = []
        for name, wire in self.island.wires.items():
            branch, start, end = self.branch[name], self.node[wire.start], self.node[wire.end]
            lines.append(f"v{branch} {branch}m {start} dc {wire.volts!r}")
            lines.append(f"r{branch} {branch}m {end} {wire.ohms!r}")
        lines += [
            f"r{node}leak {node} 0 {self.island.leak_ohms!r}"
            for node in self.node.values()
            if node != "0"
        ]
        if self.island.test_amps:
            into, out = self.island.test_amps
            lines.append(f"i{self.prefix} {self.node[out]} {self.node[into]} dc 1")
        return lines

    def wanted(self) -> list[str]:
        """Return what to print."""
        volts = [f"v({node})" for node in self.node.values() if node != "0"]
        return [*volts, *(f"i(v{branch})" for branch in self.branch.values())]

    def result(self, values: Mapping[str, float]) -> Result:
        """Return the island's share of the printed values."""
        volts = {n: 0.0 if d == "0" else values[f"v({d})"] for n, d in self.node.items()}
        # a source's current runs into its plus end: against the branch
        amps = {name: -values[f"i(v{branch})"] for name, branch in self.branch.items()}
        return Result(volts, amps)
