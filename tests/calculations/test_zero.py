"""Zero is refused where it is impossible, and taken where it only means nothing happens."""

from collections.abc import Callable

import numpy as np
import pytest

from engine.calculations import copper, fuse, meter
from engine.calculations.pins import Expected, PinReading, identify

PAIR = PinReading(1.0, 0.1)

IMPOSSIBLE: list[tuple[str, Callable[[], object]]] = [
    ("ohms", lambda: copper.resistance_at(0.0, 20.0, 30.0)),
    ("rating_amperes", lambda: fuse.percent_of_rating(1.0, 0.0)),
    ("uncertainty", lambda: meter.conformance_probability(1.0, 0.0, upper=2.0)),
    ("area", lambda: copper.ohms_per_metre(0.0)),
    ("ohms_per_metre_at_20", lambda: copper.feed_ohms(1.0, 0.0)),
    ("amperes", lambda: copper.highest_ohms_per_metre(0.0, 1.0, 1.0)),
    ("metres", lambda: copper.highest_ohms_per_metre(1.0, 0.0, 1.0)),
    ("drop_volts", lambda: copper.highest_ohms_per_metre(1.0, 1.0, 0.0)),
    ("wire_diameter", lambda: copper.heat_of_coil(0.3, 0.0)),
    ("volts", lambda: copper.constant_voltage_seconds(0.0, 0.3, 77.0, 20.0, 100.0)),
    ("ohms", lambda: copper.constant_voltage_seconds(12.0, 0.0, 77.0, 20.0, 100.0)),
    ("heat_capacity", lambda: copper.constant_voltage_seconds(12.0, 0.3, 0.0, 20.0, 100.0)),
    ("volts", lambda: copper.constant_voltage_celsius(1.0, 0.0, 0.3, 77.0, 20.0)),
    ("ohms", lambda: copper.constant_voltage_celsius(1.0, 12.0, 0.0, 77.0, 20.0)),
    ("heat_capacity", lambda: copper.constant_voltage_celsius(1.0, 12.0, 0.3, 0.0, 20.0)),
    (r"ab\.uncertainty", lambda: identify(PinReading(1.0), PAIR, PAIR, Expected(0.3, 18.0))),
    (r"expected\.pull_ohms", lambda: identify(PAIR, PAIR, PAIR, Expected(0.0, 18.0))),
    (r"expected\.hold_ohms", lambda: identify(PAIR, PAIR, PAIR, Expected(0.3, 0.0))),
    (r"expected\.share", lambda: identify(PAIR, PAIR, PAIR, Expected(0.3, 18.0, 0.0))),
]

HARMLESS: list[tuple[Callable[[], object], float]] = [
    (lambda: fuse.percent_of_rating(0.0, 30.0), 0.0),
    (lambda: fuse.opening_probability(np.array([0.0]), 5.0)[0], 0.0),
    (lambda: fuse.opening_probability(np.array([5.0]), 0.0)[0], 0.0),
    (lambda: meter.half_width(0.0, 1.0, 2, 0.1), 0.2),
    (lambda: meter.standard_uncertainty(0.0), 0.0),
    (lambda: copper.feed_ohms(0.0, 0.01), 0.0),
    (lambda: copper.feed_drop(0.0, 1.0, 0.01), 0.0),
    (lambda: copper.constant_voltage_celsius(0.0, 12.0, 0.3, 77.0, 20.0), 20.0),
]


@pytest.mark.parametrize(("name", "call"), IMPOSSIBLE)
def test_zero_where_it_is_impossible(name: str, call: Callable[[], object]) -> None:
    """A zero that no wire, coil, battery or meter can have is refused by name."""
    with pytest.raises(ValueError, match=f"^{name} must be above zero"):
        call()


@pytest.mark.parametrize(("call", "expected"), HARMLESS)
def test_zero_where_nothing_happens(call: Callable[[], object], expected: float) -> None:
    """A zero that only means nothing flows or no time has passed gives the plain answer."""
    assert call() == pytest.approx(expected, abs=1e-12)


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
