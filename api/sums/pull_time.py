"""How long a pull winding may stay on until it reaches the temperature of its insulation."""

from collections.abc import Mapping
from dataclasses import dataclass

from api.sums.entries import choice, need_one_of, needed, quantity, refuse
from api.sums.model import (
    Axis,
    Curve,
    CurveLine,
    CurveMark,
    Figure,
    Sum,
    Worked,
    limit,
    points,
    shown,
)
from engine import Knowledge
from engine.calculations.copper import (
    DENSITY,
    VOLUMETRIC_HEAT,
    constant_voltage_celsius,
    constant_voltage_seconds,
    heat_of_coil,
    resistance_at,
)

CLASSES = ("A", "E", "B", "F", "H")
MASS_HEAT = VOLUMETRIC_HEAT / DENSITY  # J/(kg K) of copper: the heat by volume over the density
_BEYOND = 1.25  # the curve runs on past the class: the heat does too


@dataclass(frozen=True, kw_only=True)
class PullOnTime:
    """What feeds the winding, what it is made of, and how hot it is at the start."""

    volts: float = needed("Volts across the winding while it is on.", "V", 0.1, 100)
    ohms: float = needed(
        "Ohms of the pull winding, the meter's leads taken off.", "ohm", 0.01, 1000
    )
    measured_celsius: float = quantity(
        "Temperature at which the ohms were read.", "C", -60, 150, 20.0
    )
    wire_mm: float | None = quantity(
        "Diameter of the bare wire; or give copper_grams or joules_per_kelvin.", "mm", 0.05, 5
    )
    copper_grams: float | None = quantity("Copper in the winding.", "g", 1, 20_000)
    joules_per_kelvin: float | None = quantity(
        "Heat that warms the winding by one degree.", "J/K", 0.1, 10_000
    )
    start_celsius: float = quantity("Temperature of the winding at the start.", "C", -60, 150, 20.0)
    thermal_class: str = choice(
        "Thermal class of the insulation; A, the lowest, when not known.", CLASSES, "A"
    )


def _heat_capacity(given: PullOnTime) -> float:
    """Return J/K from whichever way the winding was described."""
    need_one_of(given, ("wire_mm", "copper_grams", "joules_per_kelvin"))
    if given.joules_per_kelvin is not None:
        return given.joules_per_kelvin
    if given.copper_grams is not None:
        return given.copper_grams / 1000 * MASS_HEAT
    assert given.wire_mm is not None  # need_one_of has seen to it
    return heat_of_coil(given.ohms, given.wire_mm / 1000, given.measured_celsius)


def _classes(knowledge: Knowledge) -> dict[str, float]:
    rows = knowledge.tables["thermal-classes"].rows
    return {str(row["class"]): float(row["celsius"]) for row in rows}


def _work(knowledge: Knowledge, given: PullOnTime) -> Worked:
    heat = _heat_capacity(given)
    classes = _classes(knowledge)
    named, start, volts = given.thermal_class, given.start_celsius, given.volts
    if named not in classes:
        raise refuse("thermal_class", "this class is not in the table of thermal classes")
    limit_at = classes[named]
    if start >= limit_at:
        raise refuse("start_celsius", f"is not below class {named}, {limit_at:g} C: let it cool")
    ohms = float(resistance_at(given.ohms, given.measured_celsius, start))
    seconds = constant_voltage_seconds(volts, ohms, heat, start, limit_at)
    return Worked(
        says=f"On {shown(volts)} V the winding goes from {start:g} C to class {named}, "
        f"{limit_at:g} C, in about {shown(seconds, 3)} s. "
        "That is when harm begins, not a time to use up.",
        figures=_figures(seconds, ohms, heat, classes, given),
        formula="t = (C R1 / U^2) x (dT + dT^2 / (2 (234.5 + t1)))",
        source="Heat without loss, C dT = U^2 / R(T) dt, with the copper line of IEC 60034-1; "
        "copper by IEC 60028 and IEC 60949 (from memory); classes: IEC 60085:2007",
        assumptions=_ASSUMPTIONS,
        cautions=(
            "This is no leave to hold the pull on: it is made for a pulse of about a second. Its "
            "fuse may never open at this current, so nothing else stops it.",
        ),
        curve=_curve(seconds, ohms, heat, limit_at, given),
    )


_ASSUMPTIONS = (
    "No heat leaves the winding: right for the first minute, on the safe side after it.",
    "Steady volts at the winding; its ohms rise as it warms, so the current falls.",
    "The mean temperature of the copper. The inside is hotter, and what it sits in is not counted.",
    "It starts from start_celsius each time: a second try on a warm winding has less time.",
)


def _figures(
    seconds: float, ohms: float, heat: float, classes: Mapping[str, float], given: PullOnTime
) -> tuple[Figure, ...]:
    volts, start = given.volts, given.start_celsius
    hot = resistance_at(ohms, start, classes[given.thermal_class])
    reached = [
        Figure(
            f"class_{name.lower()}_seconds",
            f"Until class {name}, {celsius:g} C",
            constant_voltage_seconds(volts, ohms, heat, start, celsius),
            "s",
        )
        for name, celsius in classes.items()
        if celsius > start
    ]
    return (
        Figure("seconds", f"Until class {given.thermal_class}", seconds, "s"),
        Figure("start_amperes", "Current at the start", volts / ohms, "A"),
        Figure("end_amperes", "Current at the class's temperature", volts / hot, "A"),
        Figure("joules_per_kelvin", "Heat capacity", heat, "J/K"),
        *reached,
    )


def _curve(seconds: float, ohms: float, heat: float, limit_at: float, given: PullOnTime) -> Curve:
    """Return the temperature against the time that the winding is on."""
    end = seconds * _BEYOND
    warm = points(
        0, end, lambda t: constant_voltage_celsius(t, given.volts, ohms, heat, given.start_celsius)
    )
    return Curve(
        Axis("time on", "s"), Axis("temperature of the winding", "C"),
        (CurveLine(f"on {shown(given.volts)} V", warm),
         limit(f"class {given.thermal_class}", 0, end, limit_at)),
        (CurveMark("reaches the class", seconds, limit_at),),
    )  # fmt: skip


PULL_ON_TIME = Sum(
    id="pull-on-time",
    title="How long the pull may stay on",
    tells="The time until a pull winding that stays on reaches the limit of its insulation.",
    inputs=PullOnTime,
    example={"volts": 12, "ohms": 0.3, "wire_mm": 1.2, "thermal_class": "F"},
    work=_work,
    hazards=frozenset({"energises", "hot", "releases-brake"}),
)
