"""Each roughness is there in the share and size that world.yaml gives it, and has its switch."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.proving import kits
from tests.proving.data import kb, own
from tests.proving.machine import draw_sound
from tests.proving.measures import wilson
from tests.proving.roughness import NAMES, NOT_LISTED, ROUGH, SMOOTH, Fate, draw_fate, smooth
from tests.proving.simulator import SimulatedMachine, draw_machines, draw_one

HOW = own("world")["rough"]
FATES = [draw_fate(np.random.default_rng([7, number]), ROUGH) for number in range(4000)]
SOUND = [draw_sound(np.random.default_rng([8, n]), Fate(ROUGH)) for n in range(150)]


@pytest.mark.parametrize(
    ("share", "test"),
    [
        (HOW["charging"]["absent"], lambda fate: not fate.charges),
        (HOW["outputs"]["low_side"], lambda fate: fate.low_side),
        (HOW["outputs"]["chopped"], lambda fate: fate.chopped),
        (HOW["intermittent"]["share"], lambda fate: fate.comes_and_goes),
        (HOW["repairs"]["share"], lambda fate: fate.repaired),
        (HOW["unlisted"]["share"], lambda fate: fate.faults == NOT_LISTED),
        (HOW["pairs"]["share"], lambda fate: fate.faults == "pair"),
    ],
)  # fmt: skip
def test_shares_of_what_is_rough(share: float, test: Callable[[Fate], bool]) -> None:
    """Of 4,000 fates each roughness has its share, within the share's 99.99 % interval."""
    low, high = wilson(sum(map(test, FATES)), len(FATES), z=3.9)
    assert low <= share <= high


def test_the_share_of_machines_is_that_of_their_fates() -> None:
    """Machines drawn again for want of a complaint keep their fate: machine n has fate n."""
    for machine in draw_machines(12, 3):
        fate = draw_fate(np.random.default_rng([3, 2, machine.number]), ROUGH)
        assert machine.tale.sound.fate == fate
        assert machine.group == fate.faults


@pytest.mark.parametrize("name", NAMES)
def test_each_has_a_switch_of_its_own(name: str) -> None:
    """Switching one roughness off leaves all others on."""
    rough = smooth([name])
    assert not getattr(rough, name)
    assert all(getattr(rough, other) for other in NAMES if other != name)


def test_smooth_machines_have_a_plain_fate() -> None:
    """With everything switched off no machine has a fate but the plain one."""
    fates = {draw_fate(np.random.default_rng(number), SMOOTH) for number in range(200)}
    assert fates == {Fate()}


@given(st.integers(0, 50), st.integers(0, 10_000))
@settings(max_examples=8, deadline=None)
def test_a_machine_depends_on_seed_and_number_alone(number: int, seed: int) -> None:
    """Drawn twice, asked in two orders, a machine finds the same; its tables' shake too."""
    one = draw_one(number, seed, rough=ROUGH)
    draw_machines(1, seed)[0].ask("connector-look")  # another machine that asked first
    other = draw_one(number, seed, rough=ROUGH)
    checks = one.checks(kits.KITS["all"][0])
    forward = {check: one.ask(check) for check in checks}
    assert forward == {check: other.ask(check) for check in reversed(checks)}
    assert (one.told, one.causes, one.replaced) == (other.told, other.causes, other.replaced)


def test_every_kit_finds_the_same() -> None:
    """What a kit finds is what a larger one finds of the same checks: nobody learns between them.

    A slip of the moment stays a slip, whichever kit was asked before.
    """
    for machine in draw_machines(8, 6):
        few = {one["check"]: one for one in kits.findings(machine, "ask-look-try")}
        many = {one["check"]: one for one in kits.findings(machine, "all")}
        assert few == {check: many[check] for check in few}


def _ohms(part: str, volts: int) -> list[float]:
    return [one.ohms[part] for one in SOUND if one.machine["system_volts"] == volts]


def test_coils_of_the_whole_trade() -> None:
    """Coils differ twofold and more between makers, at 24 V about four times the ohms of 12 V."""
    for part, low, high in (("pull-winding", 0.2, 0.5), ("hold-winding", 10, 35)):
        for volts, factor in ((12, 1), (24, 4)):
            found = _ohms(part, volts)
            assert min(found) > 0.6 * low * factor  # cold, and a good part at its lower end
            assert max(found) < 1.7 * high * factor
            assert max(found) > 2 * min(found)


def test_a_part_is_stated_for_half_the_machines() -> None:
    """The caller states pull and hold ohms for half of the machines, as the plate has them."""
    low, high = wilson(sum("pull_ohms" in one.told for one in SOUND), len(SOUND), z=3.3)
    assert low < 0.5 < high
    assert all(("pull_ohms" in one.told) == ("hold_ohms" in one.told) for one in SOUND)


def test_starters_and_batteries() -> None:
    """A 12 V starter takes 120 to 400 A at 10.5 V; the battery is 10 to 30 % of its ohms."""
    for one in SOUND:
        if one.machine["system_volts"] == 12:
            assert 120 <= 10.5 / one.ohms["starter"] * (1 + 1e-9) <= 401
            assert 0.1 <= one.ohms["battery"] / one.ohms["starter"] <= 0.3


def test_wires_at_24_volts_are_ordinary() -> None:
    """Wires and contacts of a 24 V machine have 1 to 1.5 times the ohms of 12 V, not four times."""
    for part in ("ground", "pull-wire", "relay-contact", "main-cable-positive", "fuse"):
        ratio = np.median(_ohms(part, 24)) / np.median(_ohms(part, 12))
        assert 0.8 < ratio < 2, part
    four = [draw_sound(np.random.default_rng([8, n]), Fate(smooth(["wiring"]))) for n in range(80)]
    old = [one.ohms["ground"] for one in four if one.machine["system_volts"] == 24]
    assert np.median(old) > 2.2 * np.median(_ohms("ground", 12))


@pytest.mark.parametrize(("charges", "low", "high"), [(True, 13.0, 14.8), (False, 12.0, 12.8)])
def test_running_volts(charges: bool, low: float, high: float) -> None:
    """The posts of a running machine stand at 13.0 to 14.8 V, or 12.0 to 12.8 V uncharged."""
    machine = draw_one(0, 5, cause="hold-winding-open", fate=Fate(ROUGH, charges=charges))
    solved = machine.story.electrics.state("running").solved
    posts = solved.between("battery-positive", "battery-negative")
    ratio = machine.story.specimen.ratio
    assert low - 0.1 <= posts / ratio <= high + 0.1


def _controller(fate: Fate, cause: str) -> SimulatedMachine:
    """Return a machine with a controller."""
    drawn = (draw_one(number, 5, cause=cause, fate=fate) for number in range(60))
    return next(one for one in drawn if "controller" in one.told["control"])


def test_chopped_hold_reads_as_its_average() -> None:
    """A sound hold output that is chopped shows 4 to 6 V on a 12 V machine's meter."""
    machine = _controller(Fate(ROUGH, chopped=True), "pull-winding-open")
    state = machine.story.electrics.state("after-command")
    volts = state.solved.at("hold-pin-harness") / machine.story.specimen.ratio
    assert 3.8 < volts < 6.2


def test_low_side_output_stands_at_battery_until_commanded() -> None:
    """The relay's 86 is at the supply all the time, and 85 falls below 1 V on command only."""
    machine = _controller(Fate(ROUGH, low_side=True), "hold-winding-open")
    for phase, low in (("after-command", False), ("on-command", True)):
        solved = machine.story.electrics.state(phase).solved
        ratio = machine.story.specimen.ratio
        assert solved.at("relay-86") > 8 * ratio
        assert (solved.at("relay-85") < 1.0 * ratio) is low


def test_a_fault_that_comes_and_goes_is_absent_at_times() -> None:
    """Over many readings the open wire is there in some and not in others; the caller's is."""
    fate = Fate(ROUGH, comes_and_goes=True)
    seen = [draw_one(n, 2, cause="hold-wire-open", fate=fate) for n in range(12)]
    here = [one._seen("hold-pin-voltage", before=False) is one.story for one in seen]
    assert 0 < sum(here) < len(here)
    assert all(one._seen(one.complaint, before=False) is one.story for one in seen)
    assert all(one.absent is not None and one.absent.conduct.works for one in seen)
    said = [one.ask("failure-pattern")["outcome"] for one in seen]
    assert said.count("always") <= len(said) / 3


def test_a_hard_fault_is_never_absent() -> None:
    """A fault that stays is found by whoever looks, and so is one of a kind that cannot go."""
    assert draw_one(0, 2, cause="hold-wire-open", fate=Fate(ROUGH)).absent is None
    jammed = draw_one(0, 2, cause="brake-lock-jammed", fate=Fate(ROUGH, comes_and_goes=True))
    assert jammed.absent is None


def test_a_wrong_part_was_replaced() -> None:
    """The replaced part is not the fault; findings from before come first, and it is told."""
    fate = Fate(ROUGH, repaired=True)
    for number in range(6):
        machine = draw_one(number, 4, cause="ground-resistive", fate=fate)
        assert machine.replaced in set(HOW["repairs"]["done"]) - {"ground"}
        assert machine.put_right
        assert "ground-resistive" not in machine.put_right
        found = kits.findings(machine, "all")
        before = [machine.told_before(one["check"]) for one in found]
        assert before == sorted(before, reverse=True)
        assert (before[0], before[-1]) == (True, False)
        asked = kits.request(machine, found)
        told = asked.get("excluded") or [one["cause"] for one in asked["done"]]
        assert set(told) == set(machine.put_right)


def test_a_new_solenoid_has_other_ohms() -> None:
    """Replacing the solenoid changes its windings and nothing else that is measured."""
    fate = Fate(ROUGH, repaired=True)
    machine = next(
        one for n in range(20)
        if (one := draw_one(n, 4, cause="ground-open", fate=fate)).replaced == "solenoid"
    )  # fmt: skip
    old, new = machine.before.specimen.ohms, machine.story.specimen.ohms
    assert {name for name in old if old[name] != new[name]} == {"pull-winding", "hold-winding"}


def test_pairs_are_two_faults_each_with_a_complaint() -> None:
    """Both faults of a pair are done to the machine, and putting one right leaves the other."""
    for number in range(4):
        machine = draw_one(number, 7, fate=Fate(ROUGH, "pair"))
        first, second = machine.causes
        assert first != second
        rest = machine.without(first)
        assert rest.left == (second,)
        assert rest.story.situation(slow_starts=False) != "sound"


@pytest.mark.parametrize("name", sorted(own("unlisted")))
def test_unlisted_faults_are_faults_and_unlisted(name: str) -> None:
    """Each fault outside the base gives a complaint, and the base has no cause of its name."""
    assert name not in kb("causes")
    fate = Fate(ROUGH, NOT_LISTED)
    drawn = (draw_one(number, 1, fate=fate) for number in range(200))
    machine = next(one for one in drawn if one.tale.sound.unlisted == name)
    assert machine.causes == (NOT_LISTED,)
    assert machine.story.situation(slow_starts=False) != "sound"


def test_own_ohms_are_of_parts_that_circuits_have() -> None:
    """Every part of world.yaml is a part of some circuit of the base, by the same name."""
    known = {part["id"] for one in kb("circuits").values() for part in one["parts"]}
    names: Sequence[str] = list(HOW["spread"]["parts"])
    assert set(names) <= known
