"""The solved circuit against ngspice, an independent circuit simulator (Debian package ngspice).

Held to 1 mV for node voltages, 0.1 % (with a floor of 1 uA) for branch currents, 0.1 % for
resistances: what no meter in a workshop would tell apart.
"""

import dataclasses
import math
import random
from collections.abc import Callable

import pytest

from engine import Knowledge
from engine.knowledge import items
from engine.physics.band import OPEN_OHMS
from engine.physics.circuit import Sensitivity
from tests.reference import draws, ngspice
from tests.reference.networks import KINDS, Faulty, faulty_circuits, island
from tests.reference.ngspice import DeckError, Island, Wire

VOLTS, SHARE, FLOOR_AMPS, FLOOR_OHMS = 1e-3, 1e-3, 1e-6, 1e-6
STEP = 1e-3  # relative change of one part's ohms, and of one source's volts

Figure = Callable[[str], None]
Sized = Callable[[int], int]


def test_decks_that_ngspice_cannot_read_are_refused() -> None:
    """A part without a value ends in an error here, though ngspice itself exits with 0."""
    good = Island({"a": Wire("g", "p", 0.5, 12.0), "b": Wire("p", "g", 1.5)}, ["p"], "g", 1e9)
    assert ngspice.solve([good])[0].volts["p"] == pytest.approx(9.0)
    with pytest.raises(DeckError):
        ngspice.run("* bad\nr1 a 0\n.control\nop\nprint v(a)\nquit 0\n.endc\n.end\n")
    with pytest.raises(DeckError):
        ngspice.run("* bad\nr1 a 0 1\n.control\nop\nprint v(nowhere)\nquit 0\n.endc\n.end\n")


@pytest.fixture(scope="module")
def live(knowledge: Knowledge, enlarged: Sized) -> list[Faulty]:
    """Give the random live circuits: two of each machine kind, phase and plug position."""
    return list(faulty_circuits(knowledge, seed=1, count=enlarged(2 * len(KINDS))))


@pytest.mark.live  # of no use without what ngspice makes of it
def test_the_draw_covers_what_it_claims(live: list[Faulty], knowledge: Knowledge) -> None:
    """Every machine kind, phase, plug position, added part and cause is among the circuits."""
    assert len(live) >= 200
    assert {(one.kind, one.situation.phase, one.situation.plug_fitted) for one in live} == set(
        KINDS
    )
    assert {one.situation.added for one in live} == {
        "none", "lamp-pull", "lamp-hold", "ground-jumper"
    }  # fmt: skip
    assert {one.hypothesis.cause for one in live} == set(knowledge.causes)


@pytest.fixture(scope="module")
def answers(live: list[Faulty]) -> list[ngspice.Result]:
    """Give what ngspice makes of the live circuits."""
    return ngspice.solve([island(one) for one in live])


def test_node_voltages_and_branch_currents(
    live: list[Faulty], answers: list[ngspice.Result], figure: Figure
) -> None:
    """Every node within 1 mV and every branch within 0.1 % of what ngspice solves."""
    worst_volts = worst_share = 0.0
    nodes = branches = 0
    for one, found in zip(live, answers, strict=True):
        network, solved = one.solution.network, one.solved
        for number, node in enumerate(network.nodes):
            apart = abs(float(solved.voltages[number, 0]) - found.volts[node])
            assert apart <= VOLTS, f"{one}: {node} {solved.voltages[number, 0]} {found.volts[node]}"
            worst_volts, nodes = max(worst_volts, apart), nodes + 1
        for number, part in enumerate(one.parts):
            amps, here = found.amps.get(part.id, 0.0), float(solved.currents[number, 0])
            assert abs(here - amps) <= SHARE * abs(amps) + FLOOR_AMPS, f"{one}: {part.id}"
            worst_share = max(worst_share, abs(here - amps) / (abs(amps) + FLOOR_AMPS))
            branches += 1
    figure(
        f"{len(live)} circuits, {nodes} node voltages at most {worst_volts:.1e} V apart, "
        f"{branches} branch currents at most {worst_share:.1e} of their value"
    )


def _lets_go(one: Faulty, part: items.Part, found: ngspice.Result) -> str:
    """Say why a made switch, output or contact would let go; empty when it would not."""
    ratio = one.variant.system_volts / 12
    for need in part.needs:
        across = found.volts[need.node] - found.volts[need.across]
        if one.situation.phase in need.phases and across < need.min_volts * ratio - VOLTS:
            return f"{across} V at {need.node}"
    limit = (part.trips_at_amps or math.inf) / ratio * (1 + SHARE)
    if abs(found.amps[part.id]) > limit:
        return f"{found.amps[part.id]} A, trips at {limit}"
    if part.operated_by is not None:
        coil = next(other for other in one.parts if other.between == part.operated_by)
        volts = found.amps.get(coil.id, 0.0) * (coil.ohms or 1.0) * ratio**2
        if volts < part.release_volts * ratio - VOLTS:
            return f"the coil has {volts} V"
    return ""


def test_switches_agree_with_the_voltages(
    live: list[Faulty], answers: list[ngspice.Result], figure: Figure
) -> None:
    """No output or contact stays made at voltages (ngspice's) at which it would let go."""
    seen = 0
    for one, found in zip(live, answers, strict=True):
        phase = items.PHASES.index(one.situation.phase)
        for number, part in enumerate(one.parts):
            stuck = one.solution.cases.forced_closed[number, phase, 0]
            if part.id in found.amps and not (stuck and part.id not in one.situation.restored):
                why = _lets_go(one, part, found)
                assert not why, f"{one}: {part.id}: {why}"
                seen += bool(part.needs or part.trips_at_amps or part.operated_by)
    assert seen > len(live) / 4
    figure(f"{seen} made switches, outputs and contacts, all held by ngspice's volts and amperes")


PAIRS = (
    ("pull-pin", "ground-point"),
    ("hold-pin", "ground-point"),
    ("pull-pin", "hold-pin"),
    ("ground-point", "battery-negative"),
    ("pull-pin-harness", "battery-negative"),
    ("hold-pin-harness", "battery-negative"),
)


def test_resistances_of_dead_networks(
    knowledge: Knowledge, enlarged: Sized, figure: Figure
) -> None:
    """What an ohmmeter shows is what one ampere pushed through ngspice's network gives in volts."""
    drawn = [
        (one, pair)
        for one in faulty_circuits(knowledge, seed=2, count=enlarged(10), dead=True)
        for pair in PAIRS
    ]
    found = ngspice.solve([island(one, test_amps=pair) for one, pair in drawn])
    worst, opens = 0.0, 0
    for (one, (start, end)), result in zip(drawn, found, strict=True):
        solved = one.solved
        here = float(solved.resistances([(start, end)]).value[0, 0])
        ohms = result.volts[start] - result.volts[end]
        apart = abs(here - ohms)
        assert apart <= SHARE * ohms + FLOOR_OHMS, f"{one}: {start} to {end} {here} {ohms}"
        if ohms >= OPEN_OHMS:
            opens += 1
        else:
            worst = max(worst, apart / (ohms + FLOOR_OHMS))
    assert 0 < opens < len(drawn) / 2
    figure(
        f"{len(drawn)} resistances, {opens} of them open, the others at most {worst:.1e} of their "
        "value apart"
    )


@dataclasses.dataclass(frozen=True)
class Probe:
    """One quantity of one circuit, and the parts that are moved to see how it moves."""

    faulty: Faulty
    quantity: str
    start: str
    end: str
    part: str
    moved: tuple[str, ...]

    def engine(self) -> Sensitivity:
        """Return the engine's value and sensitivities."""
        solved = self.faulty.solved
        if self.quantity == "voltage":
            return solved.read([(self.start, self.end)], range(len(self.faulty.parts)))
        if self.quantity == "current":
            return solved.read(
                [self.faulty.solution.cases.part(self.part)], range(len(self.faulty.parts))
            )
        return solved.resistances([(self.start, self.end)])

    def island(self, moved: str, factor: float, source: bool) -> Island:
        """Return the circuit with one part's ohms, or its source's volts, times a factor."""
        base = island(self.faulty)
        wire = base.wires[moved]
        changed = (
            dataclasses.replace(wire, volts=wire.volts * factor)
            if source
            else dataclasses.replace(wire, ohms=wire.ohms * factor)
        )
        amps = (self.start, self.end) if self.quantity == "resistance" else None
        return dataclasses.replace(base, wires={**base.wires, moved: changed}, test_amps=amps)

    def read(self, result: ngspice.Result) -> float:
        """Return the quantity as ngspice has it."""
        if self.quantity == "current":
            return result.amps[self.part]
        return result.volts[self.start] - result.volts[self.end]


def _probe(rng: random.Random, one: Faulty, source: bool) -> Probe:
    """Draw a quantity and what to move: the sources, or five of the parts that carry most."""
    carrying = sorted(
        (
            part.id
            for number, part in enumerate(one.parts)
            if one.solved.conductances[number, 0] > 0
        ),
        key=lambda name: -abs(float(one.solved.currents[one.solution.cases.part(name), 0])),
    )
    start, end = rng.choice(PAIRS)
    quantity = "resistance" if one.situation.dead else rng.choice(["voltage", "current"])
    nodes = [node for node in one.solution.network.nodes if node != "battery-negative"]
    if quantity == "voltage":
        start, end = rng.choice(nodes), "battery-negative"
    moved = tuple(rng.sample(carrying[:12], min(5, len(carrying))))
    if source:
        moved = tuple(name for name in ("battery", "charging") if name in carrying)
    return Probe(one, quantity, start, end, rng.choice(carrying[:8]), moved)


def _slopes(probes: list[Probe], source: bool) -> list[tuple[Probe, str, float]]:
    """Return central differences by ngspice: per relative change of ohms, or per volt."""
    asked = [(probe, moved) for probe in probes for moved in probe.moved]
    factors = (math.exp(STEP), math.exp(-STEP)) if not source else (1 + STEP, 1 - STEP)
    decks = [p.island(moved, factor, source) for p, moved in asked for factor in factors]
    found = ngspice.solve(decks)
    slopes = []
    for number, (probe, moved) in enumerate(asked):
        up, down = (probe.read(found[2 * number + n]) for n in (0, 1))
        width = island(probe.faulty).wires[moved].volts if source else 1.0
        slopes.append((probe, moved, (up - down) / (2 * STEP * width)))
    return slopes


@pytest.mark.parametrize("source", [False, True], ids=["per-relative-ohms", "per-volt"])
def test_sensitivities(source: bool, knowledge: Knowledge, enlarged: Sized, figure: Figure) -> None:
    """How a reading moves with a part agrees with ngspice solved a little either side."""
    rng = draws.generator(3)
    drawn = [
        *faulty_circuits(knowledge, seed=4, count=enlarged(36 if source else 16)),
        *([] if source else faulty_circuits(knowledge, seed=5, count=enlarged(6), dead=True)),
    ]
    probes = [_probe(rng, one, source) for one in drawn]
    # how an open circuit's hundreds of megohms move is below the digits that ngspice prints
    probes = [p for p in probes if p.quantity != "resistance" or p.engine().value[0, 0] < OPEN_OHMS]
    worst, moving = 0.0, 0
    slopes = _slopes(probes, source)
    for probe, moved, slope in slopes:
        found = probe.engine()
        place = probe.faulty.solution.cases.part(moved)
        here = float((found.per_volt if source else found.per_log_ohms)[place, 0, 0])
        # The differences of 13 printed digits leave about 1e-9 of the value; h^2/6 of curvature.
        floor = 1e-6 * (abs(float(found.value[0, 0])) + 1e-3)
        assert abs(here - slope) <= SHARE * abs(slope) + floor, (
            f"{probe.faulty} {moved}: {here} {slope}"
        )
        if abs(slope) > 100 * floor:
            moving += 1
            worst = max(worst, abs(here - slope) / abs(slope))
    assert moving >= 24
    figure(
        f"{len(slopes)} slopes, {moving} of them clear of nil, these at most {worst:.1e} of their "
        "value apart"
    )
