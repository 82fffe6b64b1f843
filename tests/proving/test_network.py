"""The simulator's circuit equations against hand arithmetic and an independent simulator."""

import numpy as np
import pytest
from decks import spice

from tests.proving.electrics import AS_IT_IS, Electrics, Setting, ohms_between
from tests.proving.network import GROUND, Resistor, Source, solve
from tests.proving.story import draw_story, fuse_seconds


def test_divider_by_hand() -> None:
    """12 V over 2 and 4 ohm gives 2 A, and 8 V at the joint."""
    solved = solve(
        [Resistor("a", "plus", "mid", 2.0), Resistor("b", "mid", GROUND, 4.0)],
        [Source("e", GROUND, "plus", 12.0)],
    )
    assert solved.amperes("a") == pytest.approx(2.0, rel=1e-9)
    assert solved.at("mid") == pytest.approx(8.0, rel=1e-9)


def test_two_sources_by_hand() -> None:
    """12.6 V behind 0.01 and 14.2 V behind 0.02 ohm meet at 13.1333 V: millman's sum 1970/150."""
    solved = solve(
        [Resistor("r", "one", "post", 0.01), Resistor("s", "two", "post", 0.02)],
        [Source("b", GROUND, "one", 12.6), Source("c", GROUND, "two", 14.2)],
    )
    assert solved.at("post") == pytest.approx(1970 / 150, rel=1e-9)


@pytest.mark.live  # starts ngspice
@pytest.mark.parametrize("number", range(6))
def test_machines_as_ngspice_solves_them(number: int) -> None:
    """Node voltages of drawn machines equal ngspice's within 0.1 mV, in every phase."""
    electrics = draw_story(np.random.default_rng([11, number])).electrics
    for phase in electrics.specimen.plan["phases"]:
        state = electrics.state(phase)
        parts, feeds = electrics.branches(phase, AS_IT_IS, set(state.closed), state.relay_closed)
        for node, volts in spice(parts, feeds).items():
            assert state.solved.at(node) == pytest.approx(volts, abs=1e-4), (phase, node)


def test_ohms_of_a_winding_are_its_ohms() -> None:
    """With the plug off the ohms from pull pin to hold pin are those of the two windings."""
    specimen = draw_story(np.random.default_rng(3), "fuse-open").specimen
    windings = specimen.ohms["pull-winding"] + specimen.ohms["hold-winding"]
    found = ohms_between(Electrics(specimen), "pull-pin", "hold-pin", 1e9)
    assert found == pytest.approx(windings, rel=1e-4)


def test_sound_solenoid_works_and_a_part_of_it_does_not() -> None:
    """A machine whose only fault lies beyond the solenoid pulls, holds and lets go."""
    for cause, works in (("fuel-supply-fault", True), ("drive-fault-not-brake", True),
                         ("pull-winding-open", False), ("hold-winding-open", False)):  # fmt: skip
        for number in range(10):
            story = draw_story(np.random.default_rng([5, number]), cause)
            assert story.conduct.works is works, cause


def test_relay_chatter_is_no_contact() -> None:
    """A relay whose closing starves its own coil does not count as closed."""
    specimen = draw_story(np.random.default_rng(8), "pull-wire-shorted-to-ground").specimen
    specimen.fuse_blown = False
    specimen.ohms["main-cable-positive"] = 5.0  # the short then takes all the volts there are
    assert not Electrics(specimen).state("on-command").relay_closed


@pytest.mark.parametrize(
    ("ratio", "least", "most"),
    [(1.35, 0.75, 600), (1.6, 0.25, 50), (2.0, 0.15, 5), (3.5, 0.08, 0.5), (1.0, 1e9, None)],
)
def test_fuse_opens_inside_the_window(ratio: float, least: float, most: float | None) -> None:
    """Opening times lie in the windows of ISO 8820-3:2015, and never at the rating."""
    times = [fuse_seconds(ratio, luck) for luck in np.linspace(0, 1, 21)]
    assert min(times) >= least * (1 - 1e-9)
    assert most is None or max(times) <= most * (1 + 1e-9)


def test_ground_jumper_replaces_an_open_ground() -> None:
    """With the ground open a jumper restores the pull current of a sound machine."""
    story = draw_story(np.random.default_rng(2), "ground-open")
    assert not story.conduct.pulls
    assert story.conduct_with(Setting(jumper=True)).pulls
