"""Solved machines: what flows where, which switches are made, what a meter would read.

Figures without a source beside them are common practice, no source: the ohms and amperes of such
solenoids, and what each control type does at key-on and at crank.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest

from engine.knowledge import Knowledge, items
from engine.physics.behaviour import (
    AFTER,
    COMMAND,
    CRANKING,
    JUMPER_COMMAND,
    LAMP_PULL,
    OFF,
    RUNNING,
)
from engine.physics.hypotheses import enumerate_hypotheses, make_cases
from engine.physics.machine import Variant
from engine.physics.solution import Situation, solve_situations
from tests.physics.support import FAULTY, GOOD, fault, part, shipped_fault, solved

Make = Callable[..., Variant]
KINDS = ("timed", "crank", "request", "brake-timed")
UNPLUGGED = Situation("on-command", plug_fitted=False)
HEALTHY_AT = {"timed": "key-on", "crank": "crank", "request": "release-request",
              "brake-timed": "key-on"}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_a_pull_of_0_4_ohm_draws_some_30_amperes(kind: str, variant: Make) -> None:
    """12 V over 0.4 ohm is 30 A; feed, cables and supply leave some 20 to 32 A of it (common
    practice, no source)."""
    machine = variant(kind, pull_ohms=0.4)
    assert machine.rated_amps("pull") == pytest.approx(30.0)
    amperes = solved(machine, fault()).amperes(COMMAND, "pull-winding")[GOOD]
    assert 20 < amperes < 32


@pytest.mark.parametrize("kind", KINDS)
def test_a_hold_of_23_9_ohm_draws_half_an_ampere(kind: str, variant: Make) -> None:
    """The hold winding draws about half an ampere while it holds (common practice, no source)."""
    machine = variant(kind, hold_ohms=23.9)
    assert machine.rated_amps("hold") == pytest.approx(0.5, rel=0.01)
    assert 0.38 < solved(machine, fault()).amperes(AFTER, "hold-winding")[GOOD] < 0.62


@pytest.mark.parametrize("kind", KINDS)
def test_24_volts_has_windings_of_four_times_the_ohms_and_ordinary_wires(
    kind: str, variant: Make
) -> None:
    """A 24 V machine has windings of four times the ohms that take half the current, a little more
    for its wires are not four times as long (common practice, no source)."""
    low, high = variant(kind), variant(kind, volts=24)
    assert high.pull_ohms == pytest.approx(4 * low.pull_ohms)
    assert high.hold_ohms == pytest.approx(4 * low.hold_ohms)
    half, whole = solved(high, fault()), solved(low, fault())
    for situation in (COMMAND, AFTER, RUNNING):
        for name in ("pull-winding", "hold-winding", "fuse"):
            expected = 0.5 * whole.amperes(situation, name)[GOOD]
            assert expected - 1e-4 <= half.amperes(situation, name)[GOOD] <= 1.3 * expected + 1e-4


@pytest.mark.parametrize("kind", KINDS)
def test_the_pull_is_made_at_its_own_moment_and_ends(kind: str, variant: Make) -> None:
    """A timed circuit pulls at key-on, controllers at crank or at the request; never later, never
    at key-off (common practice, no source)."""
    machine = variant(kind)
    solution = solved(machine, fault())
    assert machine.circuit.phases["on-command"].moment == HEALTHY_AT[kind]
    for situation in (OFF, AFTER, CRANKING, RUNNING):
        assert abs(solution.amperes(situation, "pull-winding")[GOOD]) < 0.01
    assert abs(solution.amperes(OFF, "hold-winding")[GOOD]) < 0.001
    assert solution.amperes(RUNNING, "hold-winding")[GOOD] > 0.4


def test_a_controller_on_crank_makes_nothing_at_key_on(variant: Make) -> None:
    """With a controller that waits for the crank there is no phase of key-on: silence is normal
    (common practice, no source)."""
    moments = {phase.moment for phase in variant("crank").circuit.phases.values()}
    assert moments == {"key-off", "crank", "running"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("broken", ["relay-coil", "relay-command-wire", "relay-coil-ground"])
def test_the_contact_closes_only_with_its_coil(kind: str, broken: str, variant: Make) -> None:
    """A broken coil, command or coil ground leaves the contact open and the pull pin dead."""
    solution = solved(variant(kind), fault(part(broken, "open")))
    contact = solution.cases.part("relay-contact")
    assert solution.solved[COMMAND].conductances[contact, GOOD] > 0
    assert solution.solved[COMMAND].conductances[contact, FAULTY] == 0
    assert abs(solution.volts(COMMAND, "pull-pin-harness", "chassis")[FAULTY]) < 0.1
    assert abs(solution.coil_strength(COMMAND)[FAULTY]) < 1e-3


def test_a_relay_pulls_from_60_percent_of_12_volts(variant: Make) -> None:
    """The contact closes with 7.4 V at its coil and not with 7.0 V (operates by 7.2 V: makers'
    data)."""
    machine = variant("timed")
    for volts, closes in ((7.0, False), (7.8, True)):
        solution = solved(machine, fault(part("battery", "volts", volts)))
        contact = solution.cases.part("relay-contact")
        made = solution.solved[COMMAND].conductances[contact, FAULTY] > 0
        assert made == closes
        assert (solution.coil_strength(COMMAND)[FAULTY] >= 1) == closes


def test_a_welded_contact_pulls_with_the_key_off(variant: Make) -> None:
    """A contact that never opens feeds the pull winding with the key off."""
    solution = solved(variant("crank"), fault(part("relay-contact", "closed")))
    assert solution.amperes(OFF, "pull-winding")[FAULTY] > 20
    assert abs(solution.coil_strength(OFF)[FAULTY]) < 1e-3


@pytest.mark.parametrize("kind", ["crank", "request"])
def test_a_shorted_hold_wire_trips_the_output(kind: str, variant: Make) -> None:
    """A hold wire on ground trips the controller's output: no hold, but the pull still comes."""
    solution = solved(variant(kind), fault(part("hold-wire-short", "ohms", 0.05)))
    driver = solution.cases.part("hold-driver")
    assert solution.solved[AFTER].conductances[driver, FAULTY] == 0
    assert abs(solution.volts(AFTER, "hold-output", "chassis")[FAULTY]) < 0.01
    assert solution.amperes(COMMAND, "pull-winding")[FAULTY] > 20


@pytest.mark.parametrize(("ohms", "trips"), [(1.5, True), (6.0, False)])
@pytest.mark.parametrize("volts", items.SYSTEM_VOLTS)
def test_an_output_trips_at_half_the_amperes_on_24_volts(
    volts: int, ohms: float, trips: bool, variant: Make
) -> None:
    """A partial short (ohms of a 12 V machine) trips the hold output on 12 and on 24 V alike."""
    solution = solved(variant("request", volts=volts), fault(part("hold-wire-short", "ohms", ohms)))
    driver = solution.cases.part("hold-driver")
    assert (solution.solved[AFTER].conductances[driver, FAULTY] == 0) == trips


def test_a_shorted_hold_wire_takes_the_ignition_fuse_with_it(variant: Make) -> None:
    """On a timed circuit the same fuse feeds timer and hold: a hold wire on ground stops both."""
    solution = solved(variant("timed"), fault(part("hold-wire-short", "ohms", 0.05)))
    assert abs(solution.volts(COMMAND, "ignition-feed", "chassis")[FAULTY]) < 0.01
    assert abs(solution.amperes(COMMAND, "pull-winding")[FAULTY]) < 0.01


def test_crossed_wires_overload_the_hold_output(knowledge: Knowledge, variant: Make) -> None:
    """The hold output cannot feed a pull winding: with the two wires crossed it trips at once."""
    machine = variant("crank")
    solution = solved(machine, shipped_fault(knowledge, "pull-and-hold-crossed", machine))
    driver = solution.cases.part("hold-driver")
    for situation in (COMMAND, AFTER):
        assert solution.solved[situation].conductances[driver, GOOD] > 0
        assert solution.solved[situation].conductances[driver, FAULTY] == 0
        assert abs(solution.amperes(situation, "pull-winding")[FAULTY]) < 1


@pytest.mark.parametrize("kind", KINDS)
def test_without_ground_no_winding_carries_and_its_ground_is_live(kind: str, variant: Make) -> None:
    """With the ground open the common point rises to the supply and no net current leaves it."""
    solution = solved(variant(kind), fault(part("ground", "open")))
    feed = solution.volts(COMMAND, "relay-87", "battery-negative")[FAULTY]
    common = solution.volts(COMMAND, "common", "battery-negative")[FAULTY]
    assert feed > 9
    assert common == pytest.approx(feed, abs=0.2)
    assert abs(solution.amperes(COMMAND, "ground")[FAULTY]) < 1e-6
    assert solution.volts(COMMAND, "common", "battery-negative")[GOOD] < 0.7


def test_a_jumper_to_battery_negative_restores_a_lost_ground(variant: Make) -> None:
    """A lead from the common point to battery negative brings the pull current back."""
    solution = solved(variant("timed"), fault(part("ground", "add_ohms", 5.0)))
    assert solution.amperes(COMMAND, "pull-winding")[FAULTY] < 3
    assert solution.amperes(JUMPER_COMMAND, "pull-winding")[FAULTY] > 20


def test_an_unplugged_reading_hides_a_series_resistance(variant: Make) -> None:
    """5 ohm in the pull wire read as full voltage with the plug off, and as next to nothing with
    it on: a voltmeter draws no current (common practice, no source)."""
    solution = solved(variant("timed"), fault(part("pull-wire", "add_ohms", 5.0)), UNPLUGGED)
    off = solution.volts(UNPLUGGED, "pull-pin-harness", "chassis")
    assert off[FAULTY] == pytest.approx(off[GOOD], abs=0.01)
    loaded = solution.volts(COMMAND, "pull-pin-harness", "chassis")
    assert loaded[FAULTY] < 0.1 * loaded[GOOD]


def test_a_test_lamp_loads_the_wire_a_little(variant: Make) -> None:
    """Behind 30 ohm a 5 W lamp has half the voltage, where a meter still reads all of it."""
    solution = solved(variant("timed"), fault(part("pull-wire", "add_ohms", 29.0)), UNPLUGGED)
    lamp = solution.volts(LAMP_PULL, "pull-pin-harness", "battery-negative")
    assert lamp[FAULTY] / lamp[GOOD] == pytest.approx(0.5, abs=0.02)
    meter = solution.volts(UNPLUGGED, "pull-pin-harness", "battery-negative")
    assert meter[FAULTY] / meter[GOOD] == pytest.approx(1.0, abs=0.001)


def test_the_starter_drags_the_supply_down_on_a_crank_control_only(variant: Make) -> None:
    """Pull current of a crank-controlled solenoid sags with the starter; a timed one has pulled
    before the starter turns (common practice, no source)."""
    weak = fault(part("battery", "ohms", 0.03), part("battery", "volts", 12.0))
    early, late = (solved(variant(kind), weak) for kind in ("timed", "crank"))
    lost = {
        kind: 1 - solution.amperes(COMMAND, "pull-winding")[FAULTY]
        / solution.amperes(COMMAND, "pull-winding")[GOOD]
        for kind, solution in (("timed", early), ("crank", late))
    }  # fmt: skip
    assert lost["timed"] < 0.15
    assert lost["crank"] > 0.3
    assert early.volts(CRANKING, "distribution", "chassis")[FAULTY] < 8.5


def test_the_charging_voltage_is_there_when_running(variant: Make) -> None:
    """While the engine runs the supply stands above any battery at rest (12.65 V full, BCI)."""
    solution = solved(variant("crank"), fault())
    assert 12.65 < solution.volts(RUNNING, "battery-positive", "battery-negative")[GOOD] < 14.8
    assert 12.24 < solution.volts(OFF, "battery-positive", "battery-negative")[GOOD] < 12.65


def test_a_dead_circuit_has_no_voltage_anywhere(variant: Make) -> None:
    """With the sources out, as for ohms, every node is at zero."""
    dead = Situation("off", plug_fitted=False, dead=True)
    solution = solved(variant("request"), fault(), dead)
    assert np.abs(solution.solved[dead].voltages).max() == 0.0


def test_a_part_replaced_on_trial_is_as_new(variant: Make) -> None:
    """A dead relay replaced on trial pulls; the same swap leaves a broken wire as it was."""
    trial = Situation("on-command", restored=("relay-contact", "relay-coil"))
    machine = variant("crank")
    relay = solved(machine, fault(part("relay-contact", "never")), trial)
    assert relay.amperes(COMMAND, "pull-winding")[FAULTY] == pytest.approx(0, abs=0.01)
    assert relay.amperes(trial, "pull-winding")[FAULTY] > 15
    wire = solved(machine, fault(part("pull-wire", "open")), trial)
    assert wire.amperes(trial, "pull-winding")[FAULTY] == pytest.approx(0, abs=0.01)


def test_a_fault_of_one_phase_shows_in_that_phase_alone(variant: Make) -> None:
    """An ignition switch that drops out while cranking loses the hold there and nowhere else."""
    drops = fault(part("ignition-switch", "never", phases=("cranking",)))
    solution = solved(variant("timed"), drops)
    assert abs(solution.amperes(CRANKING, "hold-winding")[FAULTY]) < 0.001
    for situation in (COMMAND, AFTER, RUNNING):
        held = solution.amperes(situation, "hold-winding")
        assert held[FAULTY] == pytest.approx(held[GOOD])


def test_a_controller_without_supply_commands_nothing(variant: Make) -> None:
    """Below 6 V across the controller neither output comes; relay and hold stay silent."""
    solution = solved(variant("request"), fault(part("controller-ground-wire", "open")))
    for name in ("pull-driver", "hold-driver"):
        assert solution.amperes(COMMAND, name)[GOOD] > 0.05
        assert solution.amperes(COMMAND, name)[FAULTY] == 0


@pytest.mark.parametrize("missing", ["interlock-switch", "release-signal"])
def test_an_interlock_or_request_not_there_commands_nothing(missing: str, variant: Make) -> None:
    """A brake controller releases only when asked and only with its interlocks met."""
    solution = solved(variant("request"), fault(part(missing, "never")))
    assert solution.amperes(COMMAND, "hold-driver")[FAULTY] == 0
    assert abs(solution.volts(COMMAND, "pull-pin-harness", "chassis")[FAULTY]) < 0.1


def test_stated_values_take_the_place_of_typical_ones(variant: Make) -> None:
    """Stated ohms and fuse are taken, and the copper is as warm as the day."""
    machine = variant("timed", pull_ohms=0.30, hold_ohms=20.0, fuse_amps=40.0, ambient_celsius=80.0)
    assert (machine.pull_ohms, machine.hold_ohms, machine.fuse_amps) == (0.30, 20.0, 40.0)
    cases = solved(machine, fault()).cases
    # 0.300 ohm at 20 C is 0.3707 at 80 C (IEC 60028 coefficient, calculated)
    ohms = cases.ohms[cases.part("pull-winding"), 0, GOOD]
    assert ohms == pytest.approx(0.3707, abs=5e-5)


def test_every_part_of_a_case_has_its_place(variant: Make) -> None:
    """A change goes to its part in its phases; an open part is infinite ohms."""
    cases = solved(variant("timed"), fault(part("hold-wire", "open"))).cases
    assert math.isinf(cases.ohms[cases.part("hold-wire"), items.PHASES.index("running"), FAULTY])
    assert cases.ohms[cases.part("hold-wire"), 0, GOOD] == pytest.approx(0.05)


def test_solving_what_is_the_same_once_changes_nothing(knowledge: Knowledge, variant: Make) -> None:
    """A hypothesis solved among all others has the volts that it has alone, to 1e-9."""
    machine = variant("crank")
    found = enumerate_hypotheses(knowledge.causes, machine)
    (together,) = solve_situations([make_cases(found, machine)], [COMMAND, AFTER])
    assert together.solved[COMMAND].voltages.shape[1] < len(found)
    for number in range(0, len(found), 25):
        (alone,) = solve_situations([make_cases([found[number]], machine)], [COMMAND, AFTER])
        for situation in (COMMAND, AFTER):
            mine = together.solved[situation].voltages[:, together.cases.which[number]]
            own = alone.solved[situation].voltages[:, 0]
            assert mine == pytest.approx(own, rel=1e-9, abs=1e-9)
