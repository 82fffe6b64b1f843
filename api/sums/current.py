"""Volts, ohms and amperes of a winding, at the temperature that it has."""

from dataclasses import dataclass

from api.sums.entries import celsius, need_one_of, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Sum, Worked, points, shown
from engine import Knowledge
from engine.calculations.copper import REFERENCE_CELSIUS, resistance_at


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
    measured_celsius: float = celsius("Temperature of the winding when its ohms were read.")
    winding_celsius: float = celsius("Temperature of the winding when it works.")
    cold_celsius: float = celsius("A cold winding, to compare.", -20.0)
    hot_celsius: float = celsius("A hot winding, to compare.", 100.0)


def _work(_: Knowledge, given: WindingCurrent) -> Worked:
    need_one_of(given, ("volts", "ohms", "amperes"), 2)
    if given.ohms is None and given.lead_ohms > 0:
        raise refuse("lead_ohms", "leads are taken off ohms; there are no ohms here")
    at = given.winding_celsius
    volts, ohms, amperes = _three(given)
    return Worked(
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
    """Return volts, ohms and amperes at the working temperature, from the two that are given.

    Raises RequestError when the leads eat the ohms.
    """
    volts, amperes = given.volts, given.amperes
    if given.ohms is None:
        assert volts is not None  # need_one_of has seen to it
        assert amperes is not None
        return volts, volts / amperes, amperes
    left = given.ohms - given.lead_ohms
    if left <= 0:
        raise refuse("lead_ohms", "the leads alone have as many ohms as were read; read again")
    ohms = resistance_at(left, given.measured_celsius, given.winding_celsius)
    if volts is not None:
        return volts, ohms, volts / ohms
    assert amperes is not None
    return amperes * ohms, ohms, amperes


def _figures(
    volts: float, ohms: float, amperes: float, given: WindingCurrent
) -> tuple[Figure, ...]:
    at = given.winding_celsius
    compared: list[Figure] = []
    other = {"reference": REFERENCE_CELSIUS, "cold": given.cold_celsius, "hot": given.hot_celsius}
    for word, then in other.items():
        there = resistance_at(ohms, at, then)
        compared += [
            Figure(f"{word}_ohms", f"Winding at {then:g} C", there, "ohm"),
            Figure(f"{word}_amperes", f"Current at {then:g} C, same volts", volts / there, "A"),
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
    drawn = points(min(ends), max(ends), lambda t: volts / resistance_at(ohms, at, t))
    return Curve(
        Axis("temperature of the winding", "C"), Axis("current", "A"),
        (CurveLine(f"at {shown(volts)} V", drawn),),
        (CurveMark("this winding", at, volts / ohms),),
    )  # fmt: skip


WINDING_CURRENT = Sum(
    id="winding-current",
    title="Current of a winding",
    tells="What a winding draws at its temperature: give two of volts, ohms and amperes.",
    inputs=WindingCurrent,
    example={"volts": 12.0, "ohms": 0.5, "lead_ohms": 0.2},
    work=_work,
)
