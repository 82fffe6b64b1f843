"""What a person would see: the plunger moves, stays, comes out; the fuse opens; the lamp lights.

Facts marked "common practice, no source" are what the trade says of two-winding solenoids.
"""

import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.knowledge import Knowledge, items
from engine.physics.behaviour import NEW_FUSE, NEW_FUSE_AFTER, fuse_openings, step
from engine.physics.hypotheses import Hypothesis
from engine.physics.machine import Variant
from tests.physics.support import (
    FAULTY,
    GOOD,
    fault,
    part,
    predicted,
    setting,
    shipped_fault,
    solved,
)

Make = Callable[..., Variant]
See = Callable[..., dict[str, float]]
KINDS = ("timed", "crank", "request", "brake-timed")
SURE, NEVER = 0.95, 0.05


@pytest.fixture(scope="module")
def see(knowledge: Knowledge, variant: Make) -> See:
    """Give a function that returns the events under one fault on a machine."""

    def events(hypothesis: Hypothesis, kind: str = "crank", **said: float) -> dict[str, float]:
        model = predicted(knowledge, variant(kind, **said), hypothesis)
        return {name: float(chances[FAULTY]) for name, chances in model.events.items()}

    return events


@given(margin=st.floats(0, 1e3), sigma=st.floats(0.02, 2))
def test_the_step_is_a_log_normal_distribution(margin: float, sigma: float) -> None:
    """The smooth step is the distribution function of a log-normal limit of median 1."""
    found = step(np.array([margin]), sigma)[0]
    expected = NormalDist(0, sigma).cdf(math.log(margin)) if margin > 0 else 0.0
    assert found == pytest.approx(expected, abs=1e-12)


def test_the_step_at_its_ends() -> None:
    """A margin of nothing never does it, one of 1 does it in half of all machines."""
    assert step(np.array([0.0, -1.0]), 0.1).tolist() == [0.0, 0.0]
    assert step(np.array([1.0]), 0.1)[0] == 0.5


@pytest.mark.parametrize("volts", [12, 24])
@pytest.mark.parametrize("kind", KINDS)
def test_a_good_machine_works(kind: str, volts: int, see: See) -> None:
    """A good solenoid pulls in, stays in while commanded and springs out at key-off."""
    events = see(fault(), kind, volts=volts)
    for name in (
        "relay-operates",
        "pulls-in",
        "stays-in",
        "comes-out",
        "works-now",
        "plunger-bottoms",
        "bench-pulls",
        "bench-holds",
        "lamp-pull-bright",
    ):
        assert events[name] > SURE, name  # fmt: skip
    for name in ("pull-stays-on", "fuse-opens", "fuse-is-open"):
        assert events[name] < NEVER, name


@pytest.mark.parametrize("kind", KINDS)
def test_every_event_is_a_probability(kind: str, knowledge: Knowledge, variant: Make) -> None:
    """Every event of the closed set is there, between 0 and 1."""
    model = predicted(knowledge, variant(kind), fault(part("ground", "add_ohms", 0.3)))
    assert set(model.events) == set(items.EVENTS)
    for name, chances in model.events.items():
        assert ((chances >= 0) & (chances <= 1)).all(), name


@pytest.mark.parametrize("kind", KINDS)
def test_the_hold_alone_cannot_pull_in_but_keeps(kind: str, see: See) -> None:
    """With the pull dead nothing moves, but a plunger pushed in by hand stays (common practice, no
    source)."""
    events = see(fault(part("pull-wire", "open")), kind)
    assert events["pulls-in"] < NEVER
    assert events["hand-held-stays"] > SURE


@pytest.mark.parametrize("kind", KINDS)
def test_without_the_hold_the_plunger_springs_out_as_the_pull_ends(kind: str, see: See) -> None:
    """With the hold dead the plunger pulls in and falls out when the pulse is over (common
    practice, no source)."""
    events = see(fault(part("hold-wire", "open")), kind)
    assert events["pulls-in"] > SURE
    assert events["stays-in"] < NEVER
    assert events["hand-held-stays"] < NEVER


def test_a_weak_battery_shows_at_crank_where_the_pull_comes_at_crank(see: See) -> None:
    """The same weak battery fails a crank-controlled pull and not a timed one, and both crank
    slowly (common practice, no source)."""
    weak = fault(part("battery", "ohms", 0.05), part("battery", "volts", 11.9))
    timed, crank = see(weak, "timed"), see(weak, "crank")
    assert timed["pulls-in"] > SURE
    assert crank["pulls-in"] < 0.2
    assert timed["cranks-at-speed"] < 0.2
    assert crank["cranks-at-speed"] < 0.2


def test_a_pulse_of_a_twentieth_of_a_second_is_too_short(see: See) -> None:
    """A strong pull that ends after 0.03 s does not get the plunger across; it twitches."""
    events = see(fault(setting("pulse-seconds", 0.03)), "timed")
    assert events["pull-is-strong"] > SURE
    assert events["pulls-in"] < NEVER


def test_a_last_millimetre_missing_loses_the_hold(see: See) -> None:
    """A plunger that stops short pulls in but is not held (common practice, no source)."""
    events = see(fault(setting("travel-gap-mm", 1.5)))
    assert events["pulls-in"] > SURE
    assert events["stays-in"] < NEVER
    assert events["plunger-bottoms"] < NEVER
    assert events["bench-pulls"] > SURE


def test_a_pull_stuck_on_does_not_open_its_fuse(see: See) -> None:
    """A contact welded shut keeps the pull on, and a fuse rated near the pull current carries it:
    it does not protect the winding (common practice; 91 % of rating never opens, ISO 8820-3)."""
    events = see(fault(part("relay-contact", "closed")), "timed")
    assert events["pull-stays-on"] > SURE
    assert events["comes-out"] < NEVER
    assert events["fuse-opens"] < NEVER


def test_a_short_behind_the_fuse_opens_it_in_one_pulse(variant: Make) -> None:
    """A pull wire on ground opens the fuse at once; half the winding shorted takes its time."""
    machine = variant("timed")
    dead = solved(machine, fault(part("pull-wire-short", "ohms", 0.02)), NEW_FUSE, NEW_FUSE_AFTER)
    once, ever = (row[FAULTY] for row in fuse_openings(dead))
    assert once > SURE
    assert ever >= once
    half = fault(part("pull-winding", "times_ohms", 0.5))
    once, ever = (
        row[FAULTY] for row in fuse_openings(solved(machine, half, NEW_FUSE, NEW_FUSE_AFTER))
    )
    assert once < SURE
    assert ever > once
    good = (row[GOOD] for row in fuse_openings(dead))
    assert all(chance < NEVER for chance in good)


def test_a_backfed_hold_keeps_the_plunger_in_at_key_off(see: See) -> None:
    """A hold wire fed from elsewhere holds with the key off: the engine will not stop."""
    events = see(fault(part("hold-backfeed", "ohms", 0.5)))
    assert events["comes-out"] < NEVER
    assert events["works-now"] < NEVER
    assert events["pulls-in"] > SURE


@pytest.mark.parametrize(
    ("name", "value", "event"),
    [
        ("spring-returns", 0.0, "spring-returns"), ("linkage-follows", 0.0, "linkage-follows"),
        ("lock-holds", 0.0, "lock-holds"), ("fuel-arrives", 0.0, "fuel-arrives"),
        ("engine-turns", 0.0, "engine-turns"), ("machine-drives", 0.0, "machine-drives"),
    ],
)  # fmt: skip
def test_mechanical_faults_are_seen_as_such(name: str, value: float, event: str, see: See) -> None:
    """A spring, linkage, lock, fuel, starter or drive that does not do its part shows as that,
    while the solenoid itself pulls."""
    events = see(fault(setting(name, value)))
    assert events[event] < NEVER
    assert events["pulls-in"] > SURE


def test_stiff_is_not_seized(see: See) -> None:
    """Three times the force is felt as stiff but moves by hand; thirty times does not move."""
    stiff, seized = (see(fault(setting("pull-force-needed", one))) for one in (3.0, 30.0))
    assert stiff["plunger-free"] < NEVER
    assert stiff["plunger-moves"] > SURE
    assert seized["plunger-moves"] < NEVER
    assert seized["bench-pulls"] < NEVER


def test_force_goes_with_the_square_of_the_current(see: See) -> None:
    """Twice the force needs 1.41 times the current, so a pull at 82 % of its rated current that
    just moves a free plunger half the time fails one that needs twice as much."""
    events = see(fault(setting("pull-force-needed", 2.0)), "timed")
    rated = 0.58 * 2**0.5  # share of rated current that the base gives, times root two
    assert rated == pytest.approx(0.82, abs=0.01)
    assert 0.3 < events["pulls-in"] < 0.9


def test_the_bench_tells_part_from_harness(see: See) -> None:
    """On the bench a part works whose harness is bad, and a burned pull winding does nothing."""
    harness = see(fault(part("pull-wire", "open"), part("hold-wire", "open")))
    assert (harness["bench-pulls"] > SURE, harness["bench-holds"] > SURE) == (True, True)
    burned = see(fault(part("pull-winding", "open")))
    assert burned["bench-pulls"] < NEVER
    assert burned["bench-holds"] > SURE


def test_a_swap_or_a_jumper_cures_what_it_bridges(see: See) -> None:
    """A relay swap cures a dead contact and no ground; a ground jumper the other way round."""
    contact, ground = (
        see(fault(part("relay-contact", "never"))),
        see(fault(part("ground", "open"))),
    )
    assert contact["works-with-relay-swapped"] > 0.9
    assert contact["works-with-jumper"] < NEVER
    assert ground["works-with-jumper"] > 0.9
    assert ground["works-with-relay-swapped"] < NEVER


def test_a_lamp_is_bright_dim_or_dark(see: See) -> None:
    """Behind 30 ohm a 5 W lamp glows dim, behind 500 it is dark, behind 0.5 it is bright."""
    good, dim, dark = (see(fault(part("pull-wire", "add_ohms", one))) for one in (0.5, 30.0, 500.0))
    assert good["lamp-pull-bright"] > SURE
    assert dim["lamp-pull-bright"] < NEVER
    assert dim["lamp-pull-lit"] > SURE
    assert dark["lamp-pull-lit"] < NEVER


def test_a_hot_day_weakens_the_pull_and_not_enough_to_fail(see: See) -> None:
    """At 45 C the copper has 10 % more ohms than at 20 C, and a good machine still pulls in."""
    hot, cold = (see(fault(), "crank", ambient_celsius=celsius) for celsius in (45.0, -20.0))
    assert hot["pulls-in"] > 0.9
    assert hot["pulls-in"] <= cold["pulls-in"]


def test_a_24_volt_part_on_12_volts_is_too_weak(
    see: See, knowledge: Knowledge, variant: Make
) -> None:
    """A part wound for 24 V does not pull in on 12 V, nor on a 12 V bench."""
    events = see(shipped_fault(knowledge, "wrong-voltage-part", variant("timed")), "timed")
    assert events["pulls-in"] < 0.2
    assert events["bench-pulls"] < 0.2
