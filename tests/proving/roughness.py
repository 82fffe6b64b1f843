"""In which ways machines are rougher than the engine's picture of them, each with its own switch.

A machine's ``Fate`` is drawn once, before anything else of it, and kept while the machine is drawn
again until it has a complaint: so the shares of world.yaml are the shares among the machines.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from tests.proving.data import own

NOT_LISTED = "not-listed"


@dataclass(frozen=True)
class Roughness:
    """What is rough in a run; everything, unless it is switched off."""

    spread: bool = True  # parts, coils, battery and starter as wide as the trade's, a machine each
    charging: bool = True  # a share does not charge, and regulators differ
    wiring: bool = True  # 24 V machines have the wires and contacts of 12 V machines
    outputs: bool = True  # a share of controllers switches the low side, or chops the hold
    intermittent: bool = True  # a share of the faults comes and goes
    repairs: bool = True  # a share has had a wrong part replaced, between one finding and the next
    unlisted: bool = True  # a share has a fault that the knowledge base does not hold
    pairs: bool = True  # a share has two faults


ROUGH = Roughness()
NAMES = tuple(one.name for one in fields(Roughness))


def smooth(names: Iterable[str]) -> Roughness:
    """Return what is rough when these are switched off; ``all`` switches everything off."""
    off = set(names)
    return Roughness(**{name: name not in off and "all" not in off for name in NAMES})


SMOOTH = smooth(["all"])


@dataclass(frozen=True)
class Fate:
    """What was drawn for one machine before anything else."""

    rough: Roughness = SMOOTH
    faults: str = "single"  # single, pair or not-listed
    charges: bool = True
    low_side: bool = False  # where there is a controller
    chopped: bool = False
    comes_and_goes: bool = False  # where the cause is of a kind that can
    repaired: bool = False


def draw_fate(random: np.random.Generator, rough: Roughness) -> Fate:
    """Return a machine's fate; the same numbers are drawn whatever is switched off."""
    how: dict[str, Any] = own("world")["rough"]
    faults, charge, side, chop, come, repair = random.random(6)
    kind = "single"
    if rough.unlisted and faults < how["unlisted"]["share"]:
        kind = NOT_LISTED
    elif rough.pairs and faults > 1 - how["pairs"]["share"]:
        kind = "pair"
    return Fate(
        rough, kind,
        charges=not (rough.charging and charge < how["charging"]["absent"]),
        low_side=rough.outputs and side < how["outputs"]["low_side"],
        chopped=rough.outputs and chop < how["outputs"]["chopped"],
        comes_and_goes=rough.intermittent and come < how["intermittent"]["share"],
        repaired=rough.repairs and repair < how["repairs"]["share"],
    )  # fmt: skip
