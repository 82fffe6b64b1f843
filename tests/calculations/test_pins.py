"""Pins: which is which from three readings, against a star of resistances built by hand."""

from itertools import permutations
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations.pins import Expected, PinReading, Pins, Winding, identify

GOOD = Expected(pull_ohms=0.33, hold_ohms=18.5)
FINE = 0.002  # ohm, standard uncertainty of a four-wire reading: judgement
COARSE = 0.12  # ohm, of a hand-held meter at 0.1 ohm a digit: a/sqrt 3 of JCGM 100:2008 4.3.7

Ohms = dict[frozenset[str], float | None]


def _star(pull: float, hold: float, shared: float = 0.0, leads: float = 0.0) -> Ohms:
    """Give the ohms between the named pins of windings that share a path to ground."""
    return {
        frozenset({"pull", "ground"}): pull + shared + leads,
        frozenset({"hold", "ground"}): hold + shared + leads,
        frozenset({"pull", "hold"}): pull + hold + leads,
    }


def _identify(ohms: Ohms, order: tuple[str, ...], u: float = FINE) -> Pins:
    """Read the pins in some order as a, b, c; ``order`` says which each really is."""
    a, b, c = order
    pairs = [frozenset({a, b}), frozenset({b, c}), frozenset({c, a})]
    ab, bc, ca = (PinReading(ohms[pair], u) for pair in pairs)
    return identify(ab, bc, ca, GOOD)


ORDERS = list(permutations(("pull", "hold", "ground")))


@pytest.mark.parametrize("order", ORDERS)
def test_good_part_in_any_order(order: tuple[str, ...]) -> None:
    """A good part is named rightly whichever way round its pins are numbered, and it closes."""
    found = _identify(_star(0.33, 18.5), order)
    names = dict(zip(order, "abc", strict=True))
    assert (found.pull, found.hold, found.ground) == (
        names["pull"],
        names["hold"],
        names["ground"],
    )
    assert found.sure > 0.999
    assert found.closure == "closes"
    assert found.pull_winding is not None
    assert found.hold_winding is not None
    assert (found.pull_winding.state, found.hold_winding.state) == ("good", "good")


STATES = [
    # pull ohm, hold ohm, pull state, hold state; each sum closes, so the windings are the fault
    (0.33, 18.5, "good", "good"),
    (0.15, 18.5, "low", "good"),
    (0.33, 6.0, "good", "low"),
    (0.60, 18.5, "high", "good"),
    (0.33, 40.0, "good", "high"),
    (0.33 * 0.85, 18.5, "cannot-say", "good"),
]


@pytest.mark.parametrize(("pull", "hold", "pull_state", "hold_state"), STATES)
def test_bad_winding_is_named(pull: float, hold: float, pull_state: str, hold_state: str) -> None:
    """A winding with too few or too many ohms is named while the sum still closes."""
    found = _identify(_star(pull, hold), ("pull", "hold", "ground"))
    assert found.closure == "closes"
    assert found.pull_winding is not None
    assert found.hold_winding is not None
    assert (found.pull_winding.state, found.hold_winding.state) == (pull_state, hold_state)


@pytest.mark.parametrize("shared", [0.2, 1.0, 5.0])
def test_shared_path_is_taken_off(shared: float) -> None:
    """A bad common end is told apart, and both windings are still read as good."""
    found = _identify(_star(0.33, 18.5, shared=shared), ("ground", "pull", "hold"))
    assert found.closure == "left-over"
    assert found.left_over == pytest.approx(2 * min(shared, 0.33))
    assert found.shared_ohms == pytest.approx(shared)
    assert (found.pull, found.hold, found.ground) == ("b", "c", "a")
    assert found.sure > 0.99
    assert found.left_over_uncertainty == pytest.approx(FINE * 3**0.5)
    assert found.pull_winding is not None
    assert found.pull_winding.ohms == pytest.approx(0.33)
    assert found.pull_winding.state == "good"
    assert found.pull_winding.uncertainty == pytest.approx(FINE * 3**0.5 / 2)


def test_leads_not_zeroed_leave_their_ohms_over() -> None:
    """Test leads of 0.3 ohm left in every reading show as 0.3 ohm left over."""
    found = _identify(_star(0.33, 18.5, leads=0.3), ("pull", "hold", "ground"))
    assert found.closure == "left-over"
    assert found.left_over == pytest.approx(0.3)


def test_shared_path_like_the_pull_winding_is_not_sure() -> None:
    """A shared path of the pull winding's own ohms makes the two pins look alike: not sure."""
    found = _identify(_star(0.33, 18.5, shared=0.34), ("pull", "hold", "ground"))
    assert found.sure < 0.05


def test_coarse_meter_cannot_say() -> None:
    """A meter of 0.1 ohm a digit cannot tell ground from pull for sure, nor judge 0.33 ohm."""
    found = _identify(_star(0.33, 18.5), ("pull", "hold", "ground"), COARSE)
    assert found.closure == "cannot-say"
    assert 0.9 < found.sure < 0.99
    assert found.pull_winding is not None
    assert found.pull_winding.state == "cannot-say"


def test_sureness_is_the_probability_of_the_order() -> None:
    """How sure the names are is the chance, by a normal, that both orders are real."""
    small, middle, large = PinReading(1.0, 0.03), PinReading(1.1, 0.04), PinReading(2.1, 0.5)
    found = identify(small, middle, large, Expected(1.0, 1.1))
    hold = NormalDist(0, (0.03**2 + 0.04**2) ** 0.5).cdf(1.1 - 1.0)
    ground = NormalDist(0, (0.04**2 + 0.5**2) ** 0.5).cdf(2.1 - 1.1)
    assert found.closure == "cannot-say"
    assert found.sure == pytest.approx(hold * ground, rel=1e-9)


def test_less_than_nothing_left_over() -> None:
    """A largest reading above the sum of the others cannot come from one passive part."""
    readings = PinReading(0.33, FINE), PinReading(25.0, FINE), PinReading(18.5, FINE)
    assert identify(*readings, GOOD).closure == "impossible"


OPENS = [
    # pin cut off, ohms of the pair left, what the cut-off pin may be
    ("hold", 0.33, ("hold",)),
    ("pull", 18.5, ("pull", "ground")),
    ("ground", 18.83, ("pull", "ground")),
    ("hold", 3.0, ()),
]


@pytest.mark.parametrize(("cut", "ohms", "may_be"), OPENS)
def test_one_pin_cut_off(cut: str, ohms: float, may_be: tuple[str, ...]) -> None:
    """The pair left tells what the cut-off pin can be; hold alone and the sum are too alike."""
    order = ("pull", "hold", "ground")
    left: Ohms = dict.fromkeys((frozenset(pair) for pair in permutations(order, 2)), None)
    left[frozenset(set(order) - {cut})] = ohms
    found = _identify(left, order)
    assert found.cut_off == dict(zip(order, "abc", strict=True))[cut]
    assert found.may_be == may_be


def test_open_hold_winding_leaves_the_pull_winding_read() -> None:
    """With only the pull winding's ohms left, the hold winding is open and the pull is good."""
    found = identify(PinReading(0.33, FINE), PinReading(None), PinReading(None), GOOD)
    assert (found.pull, found.hold, found.ground) == (None, "c", None)
    assert found.hold_winding == Winding(None, 0.0, "open")
    assert found.pull_winding == Winding(0.33, FINE, "good")
    assert found.sure > 0.95


def test_open_pull_winding_where_the_sum_differs() -> None:
    """With windings of like ohms the sum differs enough to name the pin that is cut off."""
    alike = Expected(pull_ohms=8.0, hold_ohms=18.5)
    pull_gone = identify(PinReading(None), PinReading(18.5, 0.1), PinReading(None), alike)
    assert (pull_gone.pull, pull_gone.ground) == ("a", None)
    assert pull_gone.pull_winding == Winding(None, 0.0, "open")
    ground_gone = identify(PinReading(None), PinReading(26.5, 0.1), PinReading(None), alike)
    assert (ground_gone.pull, ground_gone.ground) == (None, "a")
    assert ground_gone.pull_winding is None


def test_one_or_three_pairs_open() -> None:
    """One open pair contradicts the other two; three open pairs tell nothing about the names."""
    one = identify(PinReading(0.33, FINE), PinReading(18.5, FINE), PinReading(None), GOOD)
    assert (one.closure, one.pull) == ("impossible", None)
    none = identify(PinReading(None), PinReading(None), PinReading(None), GOOD)
    assert (none.closure, none.pull, none.may_be) == ("cannot-say", None, ())


@given(
    st.floats(0.05, 1.0),
    st.floats(5.0, 60.0),
    st.sampled_from(ORDERS),
)
def test_any_two_windings_are_named(pull: float, hold: float, order: tuple[str, ...]) -> None:
    """Any pull winding and any larger hold winding are named rightly, good or bad."""
    found = _identify(_star(pull, hold), order, 1e-6)
    names = dict(zip(order, "abc", strict=True))
    assert (found.pull, found.hold, found.ground) == (
        names["pull"],
        names["hold"],
        names["ground"],
    )
    assert 0.0 <= found.sure <= 1.0


@given(st.floats(0.06, 50.0), st.sampled_from(ORDERS))
def test_left_over_is_never_blamed_on_a_good_winding(shared: float, order: tuple[str, ...]) -> None:
    """Whatever good windings share, the pull winding's ohms are right when the pins are sure."""
    found = _identify(_star(0.33, 18.5, shared=shared), order)
    if found.closure == "left-over" and found.sure > 0.95:
        assert found.pull_winding is not None
        assert found.pull_winding.ohms == pytest.approx(0.33)
        assert found.shared_ohms == pytest.approx(shared)


def test_dead_short_between_pins_is_a_reading() -> None:
    """A winding that reads 0.00 ohm is shorted, not nonsense: its state is low."""
    short = identify(
        PinReading(0.0, 0.002),
        PinReading(18.5, 0.002),
        PinReading(18.5, 0.002),
        Expected(0.33, 18.5),
    )
    assert short.pull_winding is not None
    assert short.pull_winding.state == "low"
