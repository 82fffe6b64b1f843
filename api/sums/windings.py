"""Sums about one winding: its current, how long the pull may stay on, whether it still pulls in."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from scipy.special import ndtr

from api.sums.entries import celsius, choice, need_one_of, needed, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Worked, limit, points, shown
from engine import Knowledge
from engine.calculations import copper
from engine.knowledge import items

CLASSES = ("A", "E", "B", "F", "H")
# J/(kg K) of copper: the heat by volume over the density
MASS_HEAT = copper.VOLUMETRIC_HEAT / copper.DENSITY
BEYOND = 1.25  # the curve runs on past the class: the heat does too
SURE = 0.95  # judgement, as for the verdict on a reading


@dataclass(frozen=True, kw_only=True)
class WindingCurrent:
    """Two of volts, ohms and amperes, and the temperatures."""

    volts: float | None = quantity("V", 0.01, 100)
    ohms: float | None = quantity("ohm", 0.001, 100_000)
    amperes: float | None = quantity("A", 0.0001, 2000)
    lead_ohms: float = quantity("ohm", 0, 5, 0.0)
    measured_celsius: float = celsius()
    winding_celsius: float = celsius()
    cold_celsius: float = celsius(-20.0)
    hot_celsius: float = celsius(100.0)


def winding_current(_: Knowledge, given: WindingCurrent) -> Worked:
    """Work out volts, ohms and amperes of a winding at the temperature that it has."""
    need_one_of(given, ("volts", "ohms", "amperes"), 2)
    if given.ohms is None and given.lead_ohms > 0:
        raise refuse("lead_ohms", "leads are taken off ohms; there are no ohms here")
    at = given.winding_celsius
    volts, ohms, amperes = _three(given)
    compared: list[Figure] = []
    other = {
        "reference": copper.REFERENCE_CELSIUS,
        "cold": given.cold_celsius,
        "hot": given.hot_celsius,
    }
    for word, then in other.items():
        there = copper.resistance_at(ohms, at, then)
        compared += [
            Figure(f"{word}_ohms", f"Winding at {then:g} C", there, "ohm"),
            Figure(f"{word}_amperes", f"Current at {then:g} C, same volts", volts / there, "A"),
        ]
    ends = [at, given.cold_celsius, given.hot_celsius, -40.0, 120.0]
    drawn = points(min(ends), max(ends), lambda t: volts / copper.resistance_at(ohms, at, t))
    return Worked(
        says=f"At {at:g} C the winding has {shown(ohms)} ohm: {shown(volts)} V drive "
        f"{shown(amperes)} A.",
        figures=(
            Figure("amperes", f"Current at {at:g} C", amperes, "A"),
            Figure("ohms", f"Winding at {at:g} C", ohms, "ohm"),
            Figure("volts", "Volts across it", volts, "V"),
            Figure("watts", "Heat in it", volts * amperes, "W"),
            *compared,
        ),
        curve=Curve(
            Axis("temperature of the winding", "C"), Axis("current", "A"),
            (CurveLine(f"at {shown(volts)} V", drawn),),
            (CurveMark("this winding", at, volts / ohms),),
        ),
    )  # fmt: skip


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
    ohms = copper.resistance_at(left, given.measured_celsius, given.winding_celsius)
    if volts is not None:
        return volts, ohms, volts / ohms
    assert amperes is not None
    return amperes * ohms, ohms, amperes


@dataclass(frozen=True, kw_only=True)
class PullOnTime:
    """What feeds the winding, what it is made of, and how hot it is at the start."""

    volts: float = needed("V", 0.1, 100)
    ohms: float = needed("ohm", 0.01, 1000)
    measured_celsius: float = quantity("C", -60, 150, 20.0)
    wire_mm: float | None = quantity("mm", 0.05, 5)
    copper_grams: float | None = quantity("g", 1, 20_000)
    joules_per_kelvin: float | None = quantity("J/K", 0.1, 10_000)
    start_celsius: float = quantity("C", -60, 150, 20.0)
    thermal_class: str = choice(CLASSES, "A")


def pull_on_time(knowledge: Knowledge, given: PullOnTime) -> Worked:
    """Work out how long a winding may stay on until it reaches the limit of its insulation."""
    heat = _heat_capacity(given)
    classes = {
        str(row["class"]): float(row["celsius"]) for row in knowledge.tables["thermal-classes"].rows
    }
    named, start, volts = given.thermal_class, given.start_celsius, given.volts
    limit_at = _limit(classes, named, start)
    ohms = float(copper.resistance_at(given.ohms, given.measured_celsius, start))
    reached = {
        name: (at, copper.constant_voltage_seconds(volts, ohms, heat, start, at))
        for name, at in classes.items() if at > start
    }  # fmt: skip
    _, seconds = reached[named]
    end = seconds * BEYOND
    warm = points(0, end, lambda t: copper.constant_voltage_celsius(t, volts, ohms, heat, start))
    return Worked(
        says=f"On {shown(volts)} V the winding goes from {start:g} C to class {named}, "
        f"{limit_at:g} C, in about {shown(seconds, 3)} s. "
        "That is when harm begins, not a time to use up.",
        figures=(
            Figure("seconds", f"Until class {named}", seconds, "s"),
            Figure("start_amperes", "Current at the start", volts / ohms, "A"),
            Figure("end_amperes", "Current at the class's temperature",
                   volts / copper.resistance_at(ohms, start, limit_at), "A"),
            Figure("joules_per_kelvin", "Heat capacity", heat, "J/K"),
            *(
                Figure(f"class_{name.lower()}_seconds", f"Until class {name}, {at:g} C", then, "s")
                for name, (at, then) in reached.items()
            ),
        ),
        curve=Curve(
            Axis("time on", "s"), Axis("temperature of the winding", "C"),
            (CurveLine(f"on {shown(volts)} V", warm), limit(f"class {named}", 0, end, limit_at)),
            (CurveMark("reaches the class", seconds, limit_at),),
        ),
    )  # fmt: skip


def _limit(classes: Mapping[str, float], named: str, start: float) -> float:
    """Return the temperature of a class. Raises RequestError for none, or one reached already."""
    if named not in classes:
        raise refuse("thermal_class", "this class is not in the table of thermal classes")
    if start >= classes[named]:
        raise refuse(
            "start_celsius", f"is not below class {named}, {classes[named]:g} C: let it cool"
        )
    return classes[named]


def _heat_capacity(given: PullOnTime) -> float:
    """Return J/K from whichever way the winding was described."""
    need_one_of(given, ("wire_mm", "copper_grams", "joules_per_kelvin"))
    if given.joules_per_kelvin is not None:
        return given.joules_per_kelvin
    if given.copper_grams is not None:
        return given.copper_grams / 1000 * MASS_HEAT
    assert given.wire_mm is not None  # need_one_of has seen to it
    return copper.heat_of_coil(given.ohms, given.wire_mm / 1000, given.measured_celsius)


@dataclass(frozen=True, kw_only=True)
class PullInMargin:
    """The supply under load, and the winding."""

    supply_volts: float = needed("V", 0.1, 100)
    system_volts: float = choice(items.SYSTEM_VOLTS, 12, unit="V")
    pull_ohms: float | None = quantity("ohm", 0.02, 20)
    path_ohms: float = quantity("ohm", 0, 5, 0.0)
    winding_celsius: float = celsius()
    duty: str = choice(items.DUTIES, "fuel-shutoff")


_TYPICAL = "The ohms of a typical winding were taken: read the part, or its maker's figure."
_GOOD = "The ohms are those of the good part, not of one with shorted turns."


def pull_in_margin(knowledge: Knowledge, given: PullInMargin) -> Worked:
    """Work out whether a sagging supply still pulls the plunger in, and by what margin."""
    circuit = _circuit(knowledge, given.duty)
    plunger, good = circuit.plunger, _good_ohms(circuit, given)
    needed = plunger.pull_in_share * given.system_volts / good

    def total(celsius: float) -> float:
        warm = copper.resistance_at(good, copper.REFERENCE_CELSIUS, celsius)
        return float(warm) + given.path_ohms

    ohms = total(given.winding_celsius)
    amperes = given.supply_volts / ohms
    share = amperes / needed
    chance = float(ndtr(math.log(share) / plunger.pull_in_log_sigma))
    word = _word(chance)
    return Worked(
        says=f"{shown(given.supply_volts)} V drive {shown(amperes)} A, "
        f"{shown(100 * share, 3)} % of what pull-in needs: {word}. "
        f"It needs about {shown(needed * ohms, 3)} V.",
        figures=(
            Figure("amperes", "Pull current", amperes, "A"),
            Figure("needed_amperes", "Current that pull-in needs", needed, "A"),
            Figure("share_percent", "Share of what pull-in needs", 100 * share, "%"),
            Figure("margin_percent", "Margin", 100 * (share - 1), "%"),
            Figure("least_volts", "Volts at which pull-in is just reached", needed * ohms, "V"),
            Figure("chance", "Chance that it pulls in", chance),
            Figure("verdict", "Verdict", word),
            Figure("pull_ohms", "Good winding at 20 C", good, "ohm"),
            Figure("winding_ohms", "Winding at its temperature", ohms - given.path_ohms, "ohm"),
        ),
        assumptions=(_TYPICAL if given.pull_ohms is None else _GOOD,),
        said={
            "circuit": circuit.id, "share": plunger.pull_in_share, "plunger": plunger.source,
            "spread": 100 * (math.exp(2 * plunger.pull_in_log_sigma) - 1),
        },
        curve=_margin_curve(given, lambda volts, celsius: 100 * volts / total(celsius) / needed),
    )  # fmt: skip


def _circuit(knowledge: Knowledge, duty: str) -> items.Circuit:
    """Return the first circuit of the duty. Raises RequestError where a shop has none."""
    for circuit in knowledge.circuits.values():
        if circuit.duty == duty:
            return circuit
    raise refuse("duty", "no circuit of this duty is in the knowledge base")


def _good_ohms(circuit: items.Circuit, given: PullInMargin) -> float:
    """Return the ohms of the good pull winding at 20 C, stated or typical."""
    if given.pull_ohms is not None:
        return given.pull_ohms
    typical = circuit.parts["pull-winding"].ohms or 1.0
    return typical * circuit.ohms_factor(int(given.system_volts))


def _word(chance: float) -> str:
    """Return the verdict in words."""
    if chance >= SURE:
        return "it pulls in"
    return "it does not pull in" if chance <= 1 - SURE else "cannot say"


def _margin_curve(given: PullInMargin, share: Callable[..., float]) -> Curve:
    """Return the share of what pull-in needs against the supply volts, warm and at 20 C."""
    system, supply, at = given.system_volts, given.supply_volts, given.winding_celsius
    ends = (min(0.4 * system, supply), max(1.3 * system, supply))
    warm_and_cold = [
        CurveLine(f"at {celsius:g} C", points(*ends, partial(share, celsius=celsius)))
        for celsius in dict.fromkeys((at, copper.REFERENCE_CELSIUS))
    ]
    return Curve(
        Axis("supply while pulling", "V"), Axis("share of what pull-in needs", "%"),
        (*warm_and_cold, limit("pull-in needs this", *ends, 100.0)),
        (CurveMark("this supply", supply, share(supply, at)),),
    )  # fmt: skip
