"""Random faulty circuits, solved by the engine and written down for ngspice."""

import dataclasses
import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from engine import Knowledge
from engine.knowledge import items
from engine.physics.behaviour import RELAY
from engine.physics.circuit import METER_OHMS, OHMMETER_LEAK_OHMS, Solved
from engine.physics.hypotheses import Cases, Hypothesis, enumerate_hypotheses, make_cases
from engine.physics.machine import Variant
from engine.physics.model import variants_of
from engine.physics.solution import Situation, Solution, solve_situations
from tests.reference import draws
from tests.reference.ngspice import Island, Wire

ADDED = ("none", "none", "lamp-pull", "lamp-hold", "ground-jumper")
RESTORED: tuple[tuple[str, ...], ...] = ((), (), RELAY, ("fuse",))
KINDS = tuple(product(draws.MACHINE_KINDS, items.PHASES, (True, False)))


@dataclass(frozen=True)
class Faulty:
    """One circuit with one thing wrong, in one situation, as the engine solved it."""

    variant: Variant
    hypothesis: Hypothesis
    situation: Situation
    solution: Solution
    kind: Any

    @property
    def solved(self) -> Solved:
        """Return the network's values."""
        return self.solution.solved[self.situation]

    @property
    def parts(self) -> tuple[items.Part, ...]:
        """Return the circuit's parts, in the order of the branches."""
        return self.solution.cases.parts

    def __str__(self) -> str:
        circuit = f"{self.variant.circuit.id}, {self.variant.coil}, {self.variant.system_volts} V"
        fault = f"{self.hypothesis.cause}/{self.hypothesis.state}"
        return f"{circuit}: {fault} at {self.hypothesis.place:.3f}, {self.situation}"


def situation(rng: random.Random, phase: str, plug: bool, dead: bool) -> Situation:
    """Return a situation in a phase, what is added or replaced on trial drawn."""
    return Situation(
        phase, plug_fitted=plug, added=rng.choice(ADDED), restored=rng.choice(RESTORED), dead=dead
    )


def _hypothesis(rng: random.Random, choices: list[Hypothesis]) -> Hypothesis:
    """Return a hypothesis at a severity between its points; now and then its fuse is open."""
    drawn = rng.choice(choices)
    return dataclasses.replace(
        drawn, place=rng.random(), log_width=0.0, fuse_opened=rng.random() < 0.1
    )


def _cases(rng: random.Random, hypothesis: Hypothesis, variant: Variant) -> Cases:
    """Return a hypothesis' circuit with every part moved inside its tolerance."""
    cases = make_cases([hypothesis], variant)
    numbers = np.random.default_rng(rng.getrandbits(32))
    ohms = draws.inside_tolerance(numbers, cases.ohms, [part.tolerance for part in cases.parts])
    spread = [part.volts_tolerance for part in cases.parts]
    return dataclasses.replace(
        cases, ohms=ohms, volts=draws.inside_tolerance(numbers, cases.volts, spread)
    )


def faulty_circuits(
    knowledge: Knowledge, seed: int, count: int, dead: bool = False
) -> Iterator[Faulty]:
    """Yield circuits over every machine kind, phase and plug position, every cause in turn."""
    rng = draws.generator(seed)
    kinds, waiting = draws.cycle(KINDS, rng), sorted(knowledge.causes)
    rng.shuffle(waiting)
    for _ in range(count):
        kind, phase, plug = next(kinds)
        variant = variants_of(knowledge, draws.machine(rng, kind))[0]
        by_cause: dict[str, list[Hypothesis]] = {}
        for one in enumerate_hypotheses(knowledge.causes, variant):
            by_cause.setdefault(one.cause, []).append(one)
        cause = next(name for name in waiting if name in by_cause)
        waiting.append(waiting.pop(waiting.index(cause)))  # the others keep their place in front
        hypothesis = _hypothesis(rng, by_cause[cause])
        where = situation(rng, phase, plug, dead)
        (solution,) = solve_situations([_cases(rng, hypothesis, variant)], [where])
        yield Faulty(variant, hypothesis, where, solution, kind)


def island(faulty: Faulty, **changed: Any) -> Island:
    """Return a solved circuit as an ngspice island: the branches that are made, and the leaks."""
    solved, network = faulty.solved, faulty.solution.network
    wires = {
        part.id: Wire(
            *part.between, 1.0 / float(solved.conductances[n, 0]), float(solved.volts[n, 0])
        )
        for n, part in enumerate(faulty.parts)
        if solved.conductances[n, 0] > 0
    }
    leak = OHMMETER_LEAK_OHMS if faulty.situation.dead else METER_OHMS
    return dataclasses.replace(Island(wires, network.nodes, network.reference, leak), **changed)
