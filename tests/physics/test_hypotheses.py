"""Hypotheses: severities spread without gaps, changes applied where and when they say."""

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest

from engine.knowledge import Knowledge, items
from engine.knowledge.items import applies
from engine.physics.hypotheses import (
    KERNEL_SHARE,
    POINTS_PER_DECADE,
    both,
    enumerate_hypotheses,
    healthy_ohms,
    make_cases,
    spread,
)
from engine.physics.machine import Variant
from engine.physics.model import HEALTHY as HEALTHY_CAUSE
from engine.physics.model import build_variants
from tests.physics.support import FAULTY, HEALTHY, fault, part

Make = Callable[..., Variant]
KINDS = ("timed", "crank", "request", "brake-timed")


def ranged(low: float, high: float) -> items.Cause:
    """Return a cause with one range of added ohms in the ground."""
    change = items.Change("part", "ground", "add_ohms", low, high)
    state = items.State("only", 1.0, (change,))
    return items.Cause(
        id="made-up", name="Made up", section="wiring", applies=(items.Applies(),), share=1.0,
        minutes=1.0, source="", states=(state,), looks_like="", remedy="", proof_of_repair="",
        confirmed_by=(), hazards=(),
    )  # fmt: skip


def test_a_range_is_spread_evenly_in_logs() -> None:
    """0.1 to 10 ohm, two decades, stands at eight points a constant factor apart, inside it."""
    found = spread(ranged(0.1, 10.0), 12)
    levels = [one.level(one.changes[0]) for one in found]
    assert len(levels) == 2 * POINTS_PER_DECADE
    factors = [after / before for before, after in itertools.pairwise(levels)]
    assert factors == pytest.approx([10 ** (1 / POINTS_PER_DECADE)] * (len(levels) - 1))
    assert levels[0] * levels[-1] == pytest.approx(0.1 * 10.0)
    assert 0.1 < levels[0] < levels[-1] < 10.0
    assert sum(one.weight for one in found) == pytest.approx(1.0)


def test_a_narrow_range_and_a_number() -> None:
    """A range of a few percent still has three points; a plain number has one, without width."""
    assert len(spread(ranged(1.0, 1.05), 12)) == 3
    (only,) = spread(ranged(2.0, 2.0), 12)
    assert (only.level(only.changes[0]), only.log_width) == (2.0, 0.0)


@pytest.mark.parametrize("decades", [0.5, 1.0, 2.0, 3.5])
def test_severities_leave_no_gap(decades: float) -> None:
    """The kernels round the points add up to a level density: its ripple stays under 2 %.

    Gaussians of half a spacing's width, one a spacing, ripple by 2 exp(-2 pi^2 / 4) = 1.4 % either
    way (Poisson's summation formula).
    """
    found = spread(ranged(0.01, 0.01 * 10**decades), 12)
    places = np.array([one.place for one in found])
    widths = np.array([one.log_width for one in found])
    spacing = 1.0 / len(found)
    assert widths == pytest.approx([KERNEL_SHARE * spacing] * len(found))
    x = np.linspace(places[0], places[-1], 2001)[:, None]
    bells = np.exp(-0.5 * ((x - places) / widths) ** 2) / (widths * math.sqrt(2 * math.pi))
    density = bells.sum(axis=1) * spacing
    inner = density[(x[:, 0] > places[0] + spacing) & (x[:, 0] < places[-1] - spacing)]
    if len(inner):
        assert np.abs(inner - 1).max() < 0.02
    assert density.min() > 0.45  # at the ends half of the neighbours are missing


@pytest.mark.parametrize("volts", items.SYSTEM_VOLTS)
def test_weights_of_a_cause_sum_to_one(volts: int, knowledge: Knowledge) -> None:
    """Whatever states a cause has at this voltage, together they are the cause."""
    for cause in knowledge.causes.values():
        found = spread(cause, volts)
        states = [one for one in cause.states if volts in one.system_volts]
        expected = 1.0 if states else 0.0
        assert sum(one.weight for one in found) == pytest.approx(expected), cause.id
        assert {one.state for one in found} == {one.id for one in states}


@pytest.mark.parametrize("kind", KINDS)
def test_every_cause_that_applies_is_weighed(
    kind: str, knowledge: Knowledge, variant: Make
) -> None:
    """A machine has hypotheses of exactly the causes that apply to it."""
    machine = variant(kind)
    wanted = {
        name
        for name, cause in knowledge.causes.items()
        if applies(cause.applies, circuit=machine.circuit, coil=machine.coil, system_volts=12)
        and any(12 in state.system_volts for state in cause.states)
    }
    found = enumerate_hypotheses(knowledge.causes, machine)
    assert {one.cause for one in found} == wanted
    assert {"healthy", "outside", "ground-open"} <= wanted
    assert ("timer-dead" in wanted) == (machine.circuit.control == "ignition-timed")


@pytest.mark.parametrize("kind", KINDS)
def test_priors_follow_the_shares(kind: str, knowledge: Knowledge, variant: Make) -> None:
    """The prior sums to 1, and two causes stand to each other as their shares; healthy is first."""
    (model,) = build_variants(knowledge, [variant(kind)])
    assert model.prior.sum() == pytest.approx(1.0)
    assert model.hypotheses[0].cause == HEALTHY_CAUSE
    mass = {
        cause: sum(p for p, one in zip(model.prior, model.hypotheses, strict=True)
                   if one.cause == cause)
        for cause in ("ground-resistive", "ground-open", "pull-wire-shorted-to-ground")
    }  # fmt: skip
    shares = {cause: knowledge.causes[cause].share for cause in mass}
    assert mass["ground-resistive"] / mass["ground-open"] == pytest.approx(
        shares["ground-resistive"] / shares["ground-open"]
    )
    # a fault that blows its fuse is split in two, and keeps its share
    assert mass["pull-wire-shorted-to-ground"] / mass["ground-open"] == pytest.approx(
        shares["pull-wire-shorted-to-ground"] / shares["ground-open"], rel=0.03
    )


def test_a_short_has_a_twin_whose_fuse_is_open(knowledge: Knowledge, variant: Make) -> None:
    """A short that opens the fuse is weighed with the fuse open; an open wire is not."""
    (model,) = build_variants(knowledge, [variant("timed")])
    opened = {one.cause for one in model.hypotheses if one.fuse_opened}
    assert {"pull-wire-shorted-to-ground", "winding-shorted-to-body"} <= opened
    assert not opened & {"healthy", "pull-wire-open", "ground-open", "fuse-open"}


@pytest.mark.parametrize(
    ("action", "value", "expected"),
    [("ohms", 3.0, 3.0), ("add_ohms", 3.0, 3.01), ("times_ohms", 3.0, 0.03)],
)
def test_ohms_are_set_added_or_multiplied(
    action: str, value: float, expected: float, variant: Make
) -> None:
    """A ground of 0.01 ohm becomes 3, 3.01 or 0.03 ohm, in every phase."""
    cases = make_cases([HEALTHY, fault(part("ground", action, value))], variant("timed"))
    assert cases.ohms[cases.part("ground"), :, FAULTY] == pytest.approx([expected] * 5)


def test_24_volts_scales_what_a_cause_adds(variant: Make) -> None:
    """On 24 V a wire's fault begins at the wire's own factor, 1.25, and ends at the coil's, 4; one
    of a single size stands half way in logarithms; volts are twice."""
    change = fault(part("ground", "add_ohms", 1.0), part("battery", "volts", 11.0))
    cases = make_cases([HEALTHY, change], variant("timed", volts=24))
    added = math.sqrt(1.25 * 4)
    assert cases.ohms[cases.part("ground"), 0, FAULTY] == pytest.approx(0.0125 + added)
    circuit = variant("timed").circuit
    assert circuit.fault_factor(24, "wire", 0.0) == pytest.approx(1.25)
    assert circuit.fault_factor(24, "wire", 1.0) == pytest.approx(4.0)
    assert circuit.fault_factor(12, "wire", 0.3) == 1.0
    assert cases.volts[cases.part("battery"), 0, FAULTY] == pytest.approx(22.0)


def test_copper_has_the_ohms_of_its_temperature(knowledge: Knowledge, variant: Make) -> None:
    """Windings follow the ambient temperature, wires do not."""
    cold = variant("timed", ambient_celsius=-20.0)
    parts = cold.circuit.parts
    # 0.300 ohm at 20 C is 0.2529 at -20 C (IEC 60028 coefficient, calculated)
    assert healthy_ohms(parts["pull-winding"], cold) == pytest.approx(
        cold.pull_ohms * 0.2529 / 0.3, rel=1e-3
    )
    assert healthy_ohms(parts["pull-wire"], cold) == parts["pull-wire"].ohms


def test_two_faults_at_once_have_the_changes_of_both(variant: Make) -> None:
    """A pair of faults does to the circuit what each does, at its own severity."""
    first, second = spread(ranged(0.1, 10.0), 12)[2], fault(part("pull-wire", "open"))
    pair = both(first, second)
    cases = make_cases([HEALTHY, pair], variant("timed"))
    level = first.level(first.changes[0])
    assert cases.ohms[cases.part("ground"), 0, FAULTY] == pytest.approx(0.01 + level)
    assert math.isinf(cases.ohms[cases.part("pull-wire"), 0, FAULTY])
    assert pair.cause == "made-up+made-up"
    assert pair.weight == pytest.approx(first.weight * second.weight)


def test_a_drift_is_the_slope_along_the_severity(variant: Make) -> None:
    """How the ohms move along the severity is what a small step of severity really does."""
    middle = spread(ranged(0.1, 10.0), 12)[3]
    cases = make_cases([HEALTHY, middle], variant("timed"))
    (drift,) = [
        log_ohms for circuit, _, _, log_ohms, _ in cases.drifts_in(0)
        if circuit == cases.which[FAULTY]
    ]  # fmt: skip
    step = 1e-6
    change, place = middle.changes[0], middle.place + step
    moved = 0.01 + change.start * math.exp(place * math.log(change.to / change.start))
    now = cases.ohms[cases.part("ground"), 0, FAULTY]
    assert drift == pytest.approx(math.log(moved / now) / step, rel=1e-4)
