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
    Network,
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
    conductances, sources = 1.0 / np.array(ohms), np.array(volts)
    voltages = network.voltages(conductances, sources)
    return Solved(network, conductances, sources, voltages)


@given(top=OHMS, bottom=OHMS)
def test_voltage_divider(top: float, bottom: float) -> None:
    """Two resistors across 12 V share it in proportion to their ohms."""
    network = Network([("g", "a"), ("a", "m"), ("m", "g")], "g")
    found = solve(network, [1e-6, top, bottom], [12.0, 0.0, 0.0])
    middle = float(found.voltages @ network.unit("m"))
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
    dead = np.zeros_like(conductances)
    found = Solved(network, conductances, dead, network.unit(start) * 0.0, OHMMETER_LEAK_OHMS)
    return float(found.resistance_between(start, end).value)


def test_a_balanced_bridge_carries_no_current() -> None:
    """In a Wheatstone bridge of equal ratios the galvanometer branch carries nothing."""
    network = Network([("g", "a"), ("a", "l"), ("a", "r"), ("l", "g"), ("r", "g"), ("l", "r")], "g")
    found = solve(network, [0.1, 1.0, 2.0, 10.0, 20.0, 5.0], [12.0, 0, 0, 0, 0, 0])
    assert found.currents[5] == pytest.approx(0.0, abs=1e-6)
    off = solve(network, [0.1, 1.0, 2.0, 10.0, 30.0, 5.0], [12.0, 0, 0, 0, 0, 0])
    assert abs(off.currents[5]) > 1e-3


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
    there = solve(network, ohms, [1.0, 0.0, 0.0, 0.0]).currents[2]
    back = solve(network, ohms, [0.0, 0.0, 1.0, 0.0]).currents[0]
    assert there == pytest.approx(back, rel=1e-9, abs=1e-12)


def test_a_source_drives_from_its_first_node_to_its_second() -> None:
    """A battery from g to p lifts p above g, and its current leaves it at p."""
    network = Network([("g", "p"), ("p", "g")], "g")
    found = solve(network, [0.5, 1.5], [12.0, 0.0])
    assert found.voltages[0] == pytest.approx(9.0)
    assert found.currents == pytest.approx([6.0, 6.0], rel=1e-5)


def test_a_floating_node_reads_what_a_meter_on_it_would() -> None:
    """A node that hangs on nothing reads zero, not an error: the meter's own ohms pull it down."""
    network = Network([("g", "p"), ("p", "x"), ("x", "g")], "g")
    floating = solve(network, [0.5, math.inf, math.inf], [12.0, 0.0, 0.0])
    assert float(floating.voltages @ network.unit("x")) == 0.0
    fed = solve(network, [0.5, METER_OHMS, math.inf], [12.0, 0.0, 0.0])
    assert float(fed.voltages @ network.unit("x")) == pytest.approx(6.0, rel=1e-3)


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
    reading, current = found.voltage_between("b", "c"), found.current_through(3)
    step = 1e-5
    moved = [one * math.exp(step) if n == branch else one for n, one in enumerate(ohms)]
    after = solve(network, moved, sources)
    pick = network.unit("b") - network.unit("c")
    slope = (float(after.voltages @ pick) - float(reading.value)) / step
    assert reading.per_log_ohms[branch] == pytest.approx(slope, rel=1e-3, abs=1e-4)
    slope = (after.currents[3] - float(current.value)) / step
    assert current.per_log_ohms[branch] == pytest.approx(slope, rel=1e-3, abs=1e-4)
    lifted = solve(network, ohms, [volts + step, 0, 0, 0, 0])
    slope = (float(lifted.voltages @ pick) - float(reading.value)) / step
    assert reading.per_volt[0] == pytest.approx(slope, rel=1e-3, abs=1e-6)


def test_variances_add_as_squares() -> None:
    """10 % of each of two equal resistors in series moves their middle by 12 V x 0.025 x root 2."""
    network = Network([("g", "a"), ("a", "m"), ("m", "g")], "g")
    found = solve(network, [1e-6, 100.0, 100.0], [12.0, 0, 0])
    reading = found.voltage_between("m", "g")
    loadings = 0.1 * reading.per_log_ohms[None, 1:3]
    u = math.sqrt(float(loadings_of(["top", "bottom"], loadings, 0.0).variance[0]))
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
    solution = solve_situations(cases, machine, list(SITUATIONS))
    for found in solution.solved.values():
        into = -found.currents @ solution.network.incidence - found.voltages / METER_OHMS
        assert np.abs(into).max() < 1e-6
        through = np.abs(found.currents).max()
        assert through > 1e-6  # the batch is live
        around = solution.network.incidence
        whole = np.einsum("bp,pn,pm->bnm", found.conductances, around, around)
        whole += np.eye(around.shape[1]) / METER_OHMS
        sources = -(found.conductances * found.volts) @ around
        lapack = np.linalg.solve(whole, sources[..., None])[..., 0]
        assert np.abs(found.voltages - lapack).max() < 1e-9
