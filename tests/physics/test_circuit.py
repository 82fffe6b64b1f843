"""The network solver against Ohm's and Kirchhoff's laws and textbook networks (by hand)."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.knowledge import Knowledge
from engine.physics.behaviour import SITUATIONS
from engine.physics.circuit import (
    METER_OHMS,
    OHMMETER_LEAK_OHMS,
    Floats,
    Network,
    Reduced,
    Solved,
)
from engine.physics.hypotheses import enumerate_hypotheses, make_cases
from engine.physics.machine import Variant
from engine.physics.prediction import loadings_of
from engine.physics.solution import solve_situations
from tests.sweeps import swept

OHMS = st.floats(0.01, 1e4)


def solve(network: Network, ohms: list[float], volts: list[float]) -> Solved:
    """Solve one network; infinite ohms are an open branch."""
    return solved(network, 1.0 / np.array(ohms), np.array(volts), METER_OHMS)


def solved(network: Network, conductances: Floats, volts: Floats, leak_ohms: float) -> Solved:
    """Solve one network."""
    conductances, volts = conductances[:, None], volts[:, None]
    reduced = Reduced.of(network, conductances, leak_ohms)
    voltages = reduced.driven(conductances, range(len(volts)), volts)
    return Solved(network, conductances, volts, voltages, reduced)


@given(top=OHMS, bottom=OHMS)
def test_voltage_divider(top: float, bottom: float) -> None:
    """Two resistors across 12 V share it in proportion to their ohms."""
    network = Network([("g", "a"), ("a", "m"), ("m", "g")], "g")
    found = solve(network, [1e-6, top, bottom], [12.0, 0.0, 0.0])
    middle = float(network.between(found.voltages, "m", "g")[0])
    assert middle == pytest.approx(12.0 * bottom / (top + bottom), rel=2e-3, abs=1e-6)


def test_resistors_in_series_and_in_parallel() -> None:
    """3 and 6 ohm are 9 ohm in series and 2 ohm side by side."""
    series = Network([("g", "a"), ("a", "b")], "g")
    row = np.array([1 / 3, 1 / 6])
    assert ohms_between(series, row, "g", "b") == pytest.approx(9.0)
    beside = Network([("g", "a"), ("g", "a")], "g")
    assert ohms_between(beside, row, "a", "g") == pytest.approx(2.0)


def ohms_between(network: Network, conductances: np.ndarray, start: str, end: str) -> float:
    """Return what an ohmmeter shows between two nodes."""
    found = solved(network, conductances, np.zeros(len(conductances)), OHMMETER_LEAK_OHMS)
    return float(found.resistances([(start, end)]).value[0, 0])


def test_a_balanced_bridge_carries_no_current() -> None:
    """In a Wheatstone bridge of equal ratios the galvanometer branch carries nothing."""
    network = Network([("g", "a"), ("a", "l"), ("a", "r"), ("l", "g"), ("r", "g"), ("l", "r")], "g")
    found = solve(network, [0.1, 1.0, 2.0, 10.0, 20.0, 5.0], [12.0, 0, 0, 0, 0, 0])
    assert found.currents[5, 0] == pytest.approx(0.0, abs=1e-6)
    off = solve(network, [0.1, 1.0, 2.0, 10.0, 30.0, 5.0], [12.0, 0, 0, 0, 0, 0])
    assert abs(off.currents[5, 0]) > 1e-3


@given(
    first=st.floats(-30, 30), second=st.floats(-30, 30), ohms=st.lists(OHMS, min_size=3, max_size=3)
)
def test_superposition(first: float, second: float, ohms: list[float]) -> None:
    """Two sources together give the sum of what each gives alone."""
    network = Network([("g", "m"), ("g", "m"), ("m", "g")], "g")
    both = solve(network, ohms, [first, second, 0.0]).voltages
    alone = [solve(network, ohms, row).voltages for row in ([first, 0, 0], [0, second, 0])]
    assert both == pytest.approx(alone[0] + alone[1], abs=1e-9)


@given(ohms=st.lists(OHMS, min_size=4, max_size=4))
def test_reciprocity(ohms: list[float]) -> None:
    """A volt in one branch drives through another what a volt there drives through the first."""
    network = Network([("g", "a"), ("a", "b"), ("b", "g"), ("a", "g")], "g")
    there = solve(network, ohms, [1.0, 0.0, 0.0, 0.0]).currents[2, 0]
    back = solve(network, ohms, [0.0, 0.0, 1.0, 0.0]).currents[0, 0]
    assert there == pytest.approx(back, rel=1e-9, abs=1e-12)


def test_a_source_drives_from_its_first_node_to_its_second() -> None:
    """A battery from g to p lifts p above g, and its current leaves it at p."""
    network = Network([("g", "p"), ("p", "g")], "g")
    found = solve(network, [0.5, 1.5], [12.0, 0.0])
    assert found.voltages[0, 0] == pytest.approx(9.0)
    assert found.currents[:, 0] == pytest.approx([6.0, 6.0], rel=1e-5)


def test_a_floating_node_reads_what_a_meter_on_it_would() -> None:
    """A node that hangs on nothing reads zero, not an error: the meter's own ohms pull it down."""
    network = Network([("g", "p"), ("p", "x"), ("x", "g")], "g")
    floating = solve(network, [0.5, math.inf, math.inf], [12.0, 0.0, 0.0])
    assert float(network.between(floating.voltages, "x", "g")[0]) == 0.0
    fed = solve(network, [0.5, METER_OHMS, math.inf], [12.0, 0.0, 0.0])
    assert float(network.between(fed.voltages, "x", "g")[0]) == pytest.approx(6.0, rel=1e-3)


def test_the_reference_must_be_reached() -> None:
    """A network that no branch ties to its reference is refused by name."""
    with pytest.raises(ValueError, match="no branch reaches the reference node 'g'"):
        Network([("a", "b")], "g")


@settings(max_examples=30)
@given(
    ohms=st.lists(st.floats(0.1, 100), min_size=5, max_size=5),
    volts=st.floats(1, 30),
    branch=st.integers(0, 4),
)
def test_sensitivities_are_the_slopes(ohms: list[float], volts: float, branch: int) -> None:
    """Each sensitivity is what a small change of that part really does to the reading."""
    network = Network([("g", "a"), ("a", "b"), ("b", "c"), ("c", "g"), ("b", "g")], "g")
    sources = [volts, 0.0, 0.0, 0.0, 0.0]
    found = solve(network, ohms, sources)
    reading = found.read([("b", "c"), 3], range(5))
    step = 1e-5
    moved = [one * math.exp(step) if n == branch else one for n, one in enumerate(ohms)]
    after = solve(network, moved, sources)

    def over(one: Solved) -> float:
        return float(network.between(one.voltages, "b", "c")[0])

    slopes = np.array([over(after), after.currents[3, 0]]) - reading.value[:, 0]
    assert reading.per_log_ohms[branch, :, 0] == pytest.approx(slopes / step, rel=1e-3, abs=1e-4)
    lifted = solve(network, ohms, [volts + step, 0, 0, 0, 0])
    slopes = np.array([over(lifted), lifted.currents[3, 0]]) - reading.value[:, 0]
    assert reading.per_volt[0, :, 0] == pytest.approx(slopes / step, rel=1e-3, abs=1e-6)


def test_variances_add_as_squares() -> None:
    """10 % of each of two equal resistors in series moves their middle by 12 V x 0.025 x root 2."""
    network = Network([("g", "a"), ("a", "m"), ("m", "g")], "g")
    found = solve(network, [1e-6, 100.0, 100.0], [12.0, 0, 0])
    reading = found.read([("m", "g")], [])
    (loadings,) = loadings_of(["top", "bottom"], 0.1 * reading.per_log_ohms[1:3], [0.0])
    u = math.sqrt(float(loadings.variance[0]))
    assert u == pytest.approx(12.0 * 0.025 * math.sqrt(2), rel=1e-3)  # JCGM 100:2008, 5.1.2


@pytest.mark.parametrize("kind", swept(["timed", "crank", "request", "brake-timed"], 2))
def test_kirchhoffs_law_holds_at_every_node_of_every_hypothesis(
    kind: str, knowledge: Knowledge, variant: Callable[..., Variant]
) -> None:
    """What flows into a node flows out of it, under every fault, to a microampere; LAPACK finds the
    same voltages from the whole nodal matrix, to a nanovolt.
    """
    machine = variant(kind)
    cases = make_cases(enumerate_hypotheses(knowledge.causes, machine), machine)
    (solution,) = solve_situations([cases], list(SITUATIONS))
    network = solution.network
    around = np.zeros((len(network.ends), len(network.nodes) + 1))
    around[range(len(around)), network.starts] += 1
    around[range(len(around)), network.stops] -= 1
    around = around[:, :-1]  # the reference
    for found in solution.solved.values():
        assert not found.voltages[-1].any()
        into = -around.T @ found.currents - found.voltages[:-1] / METER_OHMS
        assert np.abs(into).max() < 1e-6
        through = np.abs(found.currents).max()
        assert through > 1e-6  # the batch is live
        whole = np.einsum("pb,pn,pm->bnm", found.conductances, around, around)
        whole += np.eye(around.shape[1]) / METER_OHMS
        sources = -around.T @ (found.conductances * found.volts)
        lapack = np.linalg.solve(whole, sources.T[..., None])[..., 0]
        assert np.abs(found.voltages[:-1].T - lapack).max() < 1e-9
