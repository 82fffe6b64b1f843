"""Volts, ohms and amperes of a winding, at the temperature that it has."""

from dataclasses import dataclass

import numpy as np

from api.sums.entries import need_one_of, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Outcome, Sum, shown
from engine import Knowledge
from engine.calculations.copper import REFERENCE_CELSIUS, resistance_at

LOW_CELSIUS, HIGH_CELSIUS = -60.0, 300.0
_POINTS = 33


@dataclass(frozen=True, kw_only=True)
class WindingCurrent:
    """Two of volts, ohms and amperes, and the temperatures."""

    volts: float | None = quantity("Volts across the winding while it is fed.", "V", 0.01, 100)
    ohms: float | None = quantity(
        "Ohms of the winding as the meter read them.", "ohm", 0.001, 100_000
    )
    amperes: float | None = quantity("Amperes through the winding.", "A", 0.0001, 2000)
    lead_ohms: float = quantity(
        "Ohms of the meter's own leads (tips held together); they are taken off.", "ohm", 0, 5, 0.0
    )
    measured_celsius: float = quantity(
        "Temperature of the winding when its ohms were read.", "C", LOW_CELSIUS, HIGH_CELSIUS, 20.0
    )
    winding_celsius: float = quantity(
        "Temperature of the winding when it works.", "C", LOW_CELSIUS, HIGH_CELSIUS, 20.0
    )
    cold_celsius: float = quantity(
        "A cold winding, to compare.", "C", LOW_CELSIUS, HIGH_CELSIUS, -20.0
    )
    hot_celsius: float = quantity(
        "A hot winding, to compare.", "C", LOW_CELSIUS, HIGH_CELSIUS, 100.0
    )


def _work(_: Knowledge, given: WindingCurrent) -> Outcome:
    need_one_of(given, ("volts", "ohms", "amperes"), 2)
    if given.ohms is None and given.lead_ohms > 0:
        raise refuse("lead_ohms", "leads are taken off ohms; there are no ohms here")
    at = given.winding_celsius
    volts, ohms, amperes = _three(given)
    return Outcome(
        says=f"At {at:g} C the winding has {shown(ohms)} ohm: {shown(volts)} V drive "
        f"{shown(amperes)} A.",
        figures=_figures(volts, ohms, amperes, given),
        formula="I = U / R;  R(t) = R(t1) x (t + 234.5) / (t1 + 234.5);  R(t1) = reading - leads",
        source="Ohm's law; copper line of IEC 60034-1 clause 8.6.2 (from memory), 234.5: "
        "NBS Handbook 100",
        assumptions=(
            "The volts are those across the winding itself while the current flows, not those of "
            "the battery.",
            "The winding is copper and has one temperature all through.",
            "Steady current: a pull pulse of a few hundredths of a second has not yet reached it.",
        ),
        curve=_curve(volts, ohms, given),
    )


def _three(given: WindingCurrent) -> tuple[float, float, float]:
    """Return volts, ohms and amperes at the working temperature, from the two that are given."""
    if given.ohms is None:
        assert given.volts is not None  # need_one_of has seen to it
        assert given.amperes is not None
        return given.volts, given.volts / given.amperes, given.amperes
    ohms = _working_ohms(given.ohms - given.lead_ohms, given)
    if given.volts is not None:
        return given.volts, ohms, given.volts / ohms
    assert given.amperes is not None
    return given.amperes * ohms, ohms, given.amperes


def _working_ohms(left: float, given: WindingCurrent) -> float:
    """Return the ohms at the working temperature. Raises RequestError when the leads eat them."""
    if left <= 0:
        raise refuse("lead_ohms", "the leads alone have as many ohms as were read; read again")
    return resistance_at(left, given.measured_celsius, given.winding_celsius)


def _figures(
    volts: float, ohms: float, amperes: float, given: WindingCurrent
) -> tuple[Figure, ...]:
    at = given.winding_celsius
    compared: list[Figure] = []
    for word, celsius in (
        ("reference", REFERENCE_CELSIUS),
        ("cold", given.cold_celsius),
        ("hot", given.hot_celsius),
    ):
        there = resistance_at(ohms, at, celsius)
        compared += [
            Figure(f"{word}_ohms", f"Winding at {celsius:g} C", there, "ohm"),
            Figure(f"{word}_amperes", f"Current at {celsius:g} C, same volts", volts / there, "A"),
        ]
    return (
        Figure("amperes", f"Current at {at:g} C", amperes, "A"),
        Figure("ohms", f"Winding at {at:g} C", ohms, "ohm"),
        Figure("volts", "Volts across it", volts, "V"),
        Figure("watts", "Heat in it", volts * amperes, "W"),
        *compared,
    )


def _curve(volts: float, ohms: float, given: WindingCurrent) -> Curve:
    """Return the current against the temperature of the winding."""
    at = given.winding_celsius
    ends = [at, given.cold_celsius, given.hot_celsius, -40.0, 120.0]
    places = np.linspace(min(ends), max(ends), _POINTS)
    drawn = tuple((float(t), volts / resistance_at(ohms, at, float(t))) for t in places)
    return Curve(
        Axis("temperature of the winding", "C"),
        Axis("current", "A"),
        (CurveLine(f"at {shown(volts)} V", drawn),),
        (CurveMark("this winding", at, volts / ohms),),
    )


WINDING_CURRENT = Sum(
    id="winding-current",
    title="Current of a winding",
    tells="What a winding draws at its temperature: give two of volts, ohms and amperes.",
    inputs=WindingCurrent,
    example={"volts": 12.0, "ohms": 0.5, "lead_ohms": 0.2},
    work=_work,
)
