"""Heating: windings against step integration."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.calculations import copper

Table = Callable[[str], list[dict[str, Any]]]


COIL_HEAT = copper.heat_of_coil(0.300, 1.2e-3)

STEADY_VOLTAGE = [
    # volts, to C, seconds from 20 C; calculated, and step integration agrees
    (12.0, 105.0, 15.87),
    (12.0, 155.0, 27.32),
    (12.0, 180.0, 33.64),
    (24.0, 105.0, 3.967),
    (24.0, 155.0, 6.831),
    (24.0, 180.0, 8.410),
]

CLASSES = [("A", 105), ("E", 120), ("B", 130), ("F", 155), ("H", 180)]  # IEC 60085:2007

starts = st.floats(-40.0, 100.0)
rises = st.floats(0.5, 200.0)


def test_coil_of_wire() -> None:
    """0.300 ohm of 1.2 mm wire, 19.679 m of 1.13097 mm2, takes 76.79 J/K (calculated)."""
    assert pytest.approx(76.79, abs=6e-3) == COIL_HEAT


@pytest.mark.parametrize(("volts", "end", "seconds"), STEADY_VOLTAGE)
def test_steady_voltage(volts: float, end: float, seconds: float) -> None:
    """A pull winding at a steady voltage reaches each temperature in the calculated seconds."""
    found = copper.constant_voltage_seconds(volts, 0.300, COIL_HEAT, 20.0, end)
    assert found == pytest.approx(seconds, rel=2e-4, abs=6e-4)


def _stepped(volts: float, ohms: float, capacity: float, start: float, seconds: float) -> float:
    """Warm a winding in small steps, the mean of both ends of each step (Heun's method)."""
    steps, celsius = 2000, start
    step = seconds / steps

    def pace(now: float) -> float:
        return volts**2 / (ohms * (234.5 + now) / (234.5 + start)) / capacity

    for _ in range(steps):
        ahead = celsius + step * pace(celsius)
        celsius += step * (pace(celsius) + pace(ahead)) / 2
    return celsius


@pytest.mark.parametrize(("volts", "end", "seconds"), STEADY_VOLTAGE)
def test_step_integration_agrees(volts: float, end: float, seconds: float) -> None:
    """Warming the winding step by step ends at the same temperature as the closed formula."""
    exact = copper.constant_voltage_seconds(volts, 0.300, COIL_HEAT, 20.0, end)
    assert _stepped(volts, 0.300, COIL_HEAT, 20.0, exact) == pytest.approx(end, abs=1e-3)
    assert exact == pytest.approx(seconds, rel=1e-3)


@pytest.mark.parametrize(("name", "celsius"), CLASSES)
def test_thermal_classes(name: str, celsius: int, table: Table) -> None:
    """The knowledge base holds the thermal classes of IEC 60085:2007."""
    assert {row["class"]: row["celsius"] for row in table("thermal-classes")}[name] == celsius


@given(st.floats(1.0, 30.0), st.floats(0.05, 50.0), starts, rises)
def test_voltage_time_and_temperature_are_inverse(
    volts: float, ohms: float, start: float, rise: float
) -> None:
    """The temperature after the time to a temperature is that temperature."""
    seconds = copper.constant_voltage_seconds(volts, ohms, 77.0, start, start + rise)
    found = copper.constant_voltage_celsius(seconds, volts, ohms, 77.0, start)
    assert found == pytest.approx(start + rise, abs=1e-6)


@given(st.floats(1.0, 30.0), rises, rises)
def test_hotter_takes_longer(volts: float, one: float, other: float) -> None:
    """A higher end temperature never takes less time."""
    near, far = sorted((one, other))
    soon = copper.constant_voltage_seconds(volts, 0.3, 77.0, 20.0, 20.0 + near)
    assert soon <= copper.constant_voltage_seconds(volts, 0.3, 77.0, 20.0, 20.0 + far)


@given(st.floats(0.05, 50.0), st.floats(1e-4, 3e-3), starts)
def test_coil_has_the_ohms_it_was_made_for(ohms: float, diameter: float, celsius: float) -> None:
    """A wire with the heat of a coil has the ohms, at the temperature that it was made for."""
    area = math.pi * diameter**2 / 4
    length = copper.heat_of_coil(ohms, diameter, celsius) / copper.VOLUMETRIC_HEAT / area
    at_20 = copper.RESISTIVITY_20 * length / area
    assert copper.resistance_at(at_20, 20.0, celsius) == pytest.approx(ohms, rel=1e-9)
