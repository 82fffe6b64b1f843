"""Causes by checks: how many decibans each check is expected to give."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.audit.separation import Survey, machine_words
from engine.knowledge import items
from engine.physics.circuit import Floats
from engine.physics.machine import Machine
from engine.physics.model import HEALTHY

# least decibans -> sign in the table
SIGNS = ((20.0, "#"), (10.0, "*"), (5.0, "+"), (1.0, "."), (0.0, " "))


@dataclass(frozen=True)
class Matrix:
    """Decibans of checks (rows) for causes (columns), each held against the healthy circuit."""

    where: str
    checks: tuple[str, ...]
    causes: tuple[str, ...]
    decibans: Floats  # (check, cause)


def matrix(survey: Survey, machine: Machine) -> Matrix:
    """Return the matrix of a machine, what can be asked first and what needs a clamp last."""
    separation = survey.of(machine)
    kinds = map(items.KINDS.index, separation.kinds)
    checks = tuple(name for _, name in sorted(zip(kinds, separation.checks, strict=True)))
    causes = tuple(name for name in separation.causes if name != HEALTHY)
    rows = [separation.checks.index(name) for name in checks]
    columns = [separation.causes.index(name) for name in causes]
    found = separation.decibans[np.ix_(rows, columns, [separation.causes.index(HEALTHY)])]
    return Matrix(machine_words(survey.knowledge, [machine]), checks, causes, found[:, :, 0])


def as_text(found: Matrix) -> list[str]:
    """Return the matrix as lines: a row a check, a column a cause, a sign for the decibans."""
    wide = max(len(name) for name in found.checks)
    numbers = range(1, len(found.causes) + 1)
    lines = [
        f"{found.where}: each cause against '{HEALTHY}'",
        " " * wide + "  " + "".join(str(n // 10) if n >= 10 else " " for n in numbers),
        " " * wide + "  " + "".join(str(n % 10) for n in numbers),
    ]
    for name, row in zip(found.checks, found.decibans, strict=True):
        lines.append(f"{name:{wide}}  {''.join(sign(value) for value in row)}".rstrip())
    return [*lines, "", *_legend(found.causes), "", _SCALE]


_SCALE = "decibans expected: # 20 and more, * 10 to 20, + 5 to 10, . 1 to 5; 10 is ten to one"


def sign(decibans: float) -> str:
    """Return the sign that stands for so many decibans."""
    return next(found for least, found in SIGNS if decibans >= least)


def _legend(causes: Sequence[str]) -> list[str]:
    """Return the numbered causes in columns of a screen's width."""
    entries = [f"{n:2} {name}" for n, name in enumerate(causes, start=1)]
    wide = max(len(one) for one in entries) + 2
    across = max(1, 88 // wide)
    rows = [entries[n : n + across] for n in range(0, len(entries), across)]
    return ["".join(f"{one:{wide}}" for one in row).rstrip() for row in rows]
