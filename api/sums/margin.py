"""Whether a sagging supply still pulls the plunger in, and by what margin."""

import math
from dataclasses import dataclass
from functools import partial

from scipy.special import ndtr

from api.sums.entries import celsius, choice, needed, quantity, refuse
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
from engine.calculations.copper import REFERENCE_CELSIUS, resistance_at
from engine.knowledge import items

SURE = 0.95  # judgement, as for the verdict on a reading


@dataclass(frozen=True, kw_only=True)
class PullInMargin:
    """The supply under load, and the winding."""

    supply_volts: float = needed(
        "Volts at the pull pin, to its ground, while the pull is on.", "V", 0.1, 100
    )
    system_volts: float = choice("Volts of the system.", items.SYSTEM_VOLTS, 12, unit="V")
    pull_ohms: float | None = quantity(
        "Ohms of the good pull winding at 20 C; a typical one when left out.", "ohm", 0.02, 20
    )
    path_ohms: float = quantity(
        "Ohms between where the volts are taken and the winding.", "ohm", 0, 5, 0.0
    )
    winding_celsius: float = celsius("Temperature of the winding.")
    duty: str = choice("What the solenoid does.", items.DUTIES, "fuel-shutoff")


def _circuit(knowledge: Knowledge, duty: str) -> items.Circuit:
    """Return the first circuit of the duty. Raises RequestError where a shop has none."""
    for circuit in knowledge.circuits.values():
        if circuit.duty == duty:
            return circuit
    raise refuse("duty", "no circuit of this duty is in the knowledge base")


def _good_ohms(circuit: items.Circuit, given: PullInMargin) -> float:
    """Return the ohms of the good pull winding at 20 C, stated or typical."""
    if given.pull_ohms is not None:
        return float(given.pull_ohms)
    typical = circuit.parts["pull-winding"].ohms or 1.0
    return typical * circuit.ohms_factor(int(given.system_volts))


def _work(knowledge: Knowledge, given: PullInMargin) -> Worked:
    circuit = _circuit(knowledge, given.duty)
    plunger, good = circuit.plunger, _good_ohms(circuit, given)
    needed = plunger.pull_in_share * given.system_volts / good
    total = _total(good, given.winding_celsius, given)
    amperes = given.supply_volts / total
    share = amperes / needed
    chance = float(ndtr(math.log(share) / plunger.pull_in_log_sigma))
    word = _word(chance)
    return Worked(
        says=f"{shown(given.supply_volts)} V drive {shown(amperes)} A, "
        f"{shown(100 * share, 3)} % of what pull-in needs: {word}. "
        f"It needs about {shown(needed * total, 3)} V.",
        figures=(
            Figure("amperes", "Pull current", amperes, "A"),
            Figure("needed_amperes", "Current that pull-in needs", needed, "A"),
            Figure("share_percent", "Share of what pull-in needs", 100 * share, "%"),
            Figure("margin_percent", "Margin", 100 * (share - 1), "%"),
            Figure("least_volts", "Volts at which pull-in is just reached", needed * total, "V"),
            Figure("chance", "Chance that it pulls in", chance),
            Figure("verdict", "Verdict", word),
            Figure("pull_ohms", "Good winding at 20 C", good, "ohm"),
            Figure("winding_ohms", "Winding at its temperature", total - given.path_ohms, "ohm"),
        ),
        formula="I = U / (R(t) + path);  needed = pull-in share x system volts / R(20 C);  "
        "share = I / needed",
        source=f"Plunger of circuit {circuit.id}, pull-in share {plunger.pull_in_share:g}: "
        f"{plunger.source}; copper line of IEC 60034-1 clause 8.6.2 (from memory)",
        assumptions=_assumptions(given, plunger),
        curve=_curve(good, needed, given),
    )


def _total(good: float, celsius: float, given: PullInMargin) -> float:
    return float(resistance_at(good, REFERENCE_CELSIUS, celsius)) + float(given.path_ohms)


def _word(chance: float) -> str:
    """Return the verdict in words."""
    if chance >= SURE:
        return "it pulls in"
    return "it does not pull in" if chance <= 1 - SURE else "cannot say"


def _assumptions(given: PullInMargin, plunger: items.Plunger) -> tuple[str, ...]:
    spread = 100 * (math.exp(2 * plunger.pull_in_log_sigma) - 1)
    winding = (
        "The ohms of a typical winding were taken: read the part, or its maker's figure."
        if given.pull_ohms is None
        else "The ohms are those of the good part, not of one with shorted turns."
    )
    return (
        winding,
        "A plunger and linkage that move freely; a stiff one needs more.",
        f"What pull-in needs differs from part to part, by about {spread:.0f} % either way.",
        "Volts under load. A meter that reads before the pull tells nothing about the sag.",
    )


def _curve(good: float, needed: float, given: PullInMargin) -> Curve:
    """Return the share of what pull-in needs against the supply volts."""
    system, supply, at = given.system_volts, given.supply_volts, given.winding_celsius
    ends = (min(0.4 * system, supply), max(1.3 * system, supply))

    def share(volts: float, celsius: float) -> float:
        return 100 * volts / _total(good, celsius, given) / needed

    warm_and_cold = [
        CurveLine(f"at {celsius:g} C", points(*ends, partial(share, celsius=celsius)))
        for celsius in dict.fromkeys((at, REFERENCE_CELSIUS))
    ]
    return Curve(
        Axis("supply while pulling", "V"), Axis("share of what pull-in needs", "%"),
        (*warm_and_cold, limit("pull-in needs this", *ends, 100.0)),
        (CurveMark("this supply", supply, share(supply, at)),),
    )  # fmt: skip


PULL_IN_MARGIN = Sum(
    id="pull-in-margin",
    title="Pull-in margin at a sagging supply",
    tells="What the pull winding draws at a low supply, and whether that still pulls in.",
    inputs=PullInMargin,
    example={"supply_volts": 8, "pull_ohms": 0.3, "winding_celsius": 80},
    work=_work,
    hazards=frozenset({"energises", "live", "releases-brake"}),
)
