"""One simulated machine: its parts, its limits, and the one thing that is wrong with it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.proving.data import applies, circuit, kb, own

Random = np.random.Generator
REGULATED_OHMS = 0.0005  # a charging source holds its volts, whatever the battery takes
UNCALLED = ("healthy", "outside")  # nothing in this circuit to put right


@dataclass
class Specimen:
    """A machine as it stands in the yard; ohms, volts and seconds are its own true values."""

    machine: dict[str, Any]
    told: dict[str, Any]  # the machine as the caller describes it
    cause: str
    minutes: float
    celsius: float
    plan: dict[str, Any]
    sound_ohms: dict[str, float]
    ohms: dict[str, float]
    volts: dict[str, float]
    limits: dict[str, float]
    facts: dict[str, bool]
    stuck: dict[str, str] = field(default_factory=dict)
    open_during: dict[str, str] = field(default_factory=dict)
    pulse: float = 0.8
    force: float = 1.0
    gap_mm: float = 0.0
    turns: dict[str, float] = field(default_factory=lambda: {"pull": 1.0, "hold": 1.0})
    crossed: bool = False
    swapped_style: bool = False
    leak_ohms: float = math.inf
    linkage_binds: bool = False
    fuse_blown: bool = False
    fuse_luck: float = 0.5

    @property
    def ratio(self) -> float:
        """Return system volts over 12."""
        return float(self.machine["system_volts"]) / 12.0

    def open_circuit(self, part: str) -> bool:
        """Return whether a part conducts nothing at all."""
        return math.isinf(self.ohms[part])


def log_even(random: Random, ends: Sequence[float]) -> float:
    """Return a draw that is even in logarithms between two positive ends."""
    return float(math.exp(random.uniform(math.log(ends[0]), math.log(ends[1]))))


def pick(random: Random, shares: Mapping[Any, float]) -> Any:
    """Return a key in proportion to its share."""
    names = list(shares)
    weights = np.array([shares[name] for name in names], dtype=float)
    return names[int(random.choice(len(names), p=weights / weights.sum()))]


def draw_machine(random: Random) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Return a machine as it is, as the caller tells it, and the kind of part in it."""
    how = own("world")["machines"]
    duty = pick(random, how["duty"])
    machine = {
        "duty": duty,
        "control": pick(random, how["controls"][duty]),
        "coil": pick(random, how["coil"]),
        "system_volts": pick(random, how["volts"]),
    }
    if duty == "fuel-shutoff":
        machine["fuel_actuation"] = pick(random, how["actuation"])
    kinds = how["parts"]
    kind = kinds[pick(random, {number: one["share"] for number, one in enumerate(kinds)})]
    told = dict(machine)
    if random.random() < how["part_known"]:
        factor = (machine["system_volts"] / 12.0) ** 2
        told["pull_ohms"] = kind["pull_ohms"] * factor
        told["hold_ohms"] = kind["hold_ohms"] * factor
        told["fuse_amps"] = kind["fuse_amps"] * 12.0 / machine["system_volts"]
    return machine, told, kind


def draw_sound(random: Random, cause: str | None = None) -> Specimen:
    """Return a sound machine and the cause that will break it, drawn by the shares of kb/causes."""
    machine, told, kind = draw_machine(random)
    causes = {
        name: one["share"]
        for name, one in kb("causes").items()
        if name not in UNCALLED and applies(one, machine) and (cause in (None, name))
    }
    if not causes:
        return draw_sound(random, cause)
    return _sound(random, machine, told, kind, pick(random, causes))


def break_it(specimen: Specimen, random: Random) -> None:
    """Do to a sound machine what its cause does: one state of it, its severities drawn."""
    states = own("faults")[specimen.cause]
    state = pick(random, {number: one["weight"] for number, one in enumerate(states)})
    common = random.random()
    for deed in states[state]["deeds"]:
        _do(specimen, deed, random, common)


def _sound(
    random: Random,
    machine: dict[str, Any],
    told: dict[str, Any],
    kind: Mapping[str, Any],
    name: str,
) -> Specimen:
    """Return the machine before anything went wrong, its parts and limits drawn."""
    how = own("world")
    celsius = float(random.normal(how["machines"]["celsius"]["mean"],
                                  how["machines"]["celsius"]["sigma"]))  # fmt: skip
    plan = circuit(machine["duty"], machine["control"])
    ratio = machine["system_volts"] / 12.0
    ohms = {
        part: _sound_ohms(random, one, kind, how, celsius) * ratio**2
        for part, one in plan["parts"].items()
    }
    volts = {
        part: one["volts"] * ratio * (1 + random.normal(0, one["volts_tolerance"]))
        for part, one in plan["parts"].items() if one["kind"] == "source"
    }  # fmt: skip
    limits = {key: float(random.uniform(*ends)) for key, ends in how["limits"].items()}
    amps = {"pull": 12 / kind["pull_ohms"] / ratio, "hold": 12 / kind["hold_ohms"] / ratio}
    ohms["charging"] = REGULATED_OHMS * ratio**2
    volts["charging"] = limits["charging_volts"] * ratio
    facts = dict.fromkeys(
        ("spring-returns", "linkage-follows", "lock-holds", "fuel-arrives", "fuel-enough",
         "engine-turns", "machine-drives"), True,
    )  # fmt: skip
    return Specimen(
        machine, told, name, float(kb("causes")[name]["minutes"]), celsius, plan,
        dict(ohms), ohms, volts,
        {**limits, "rated_pull": amps["pull"], "rated_hold": amps["hold"],
         "fuse_amps": kind["fuse_amps"] / ratio},
        facts, pulse=limits["pulse_seconds"], fuse_luck=float(random.random()),
    )  # fmt: skip


def _sound_ohms(
    random: Random, part: Mapping[str, Any], kind: Mapping[str, Any], how: Mapping[str, Any],
    celsius: float,
) -> float:  # fmt: skip
    """Return the ohms of a sound part at 12 V: log-normal about the nominal, plus its joints."""
    if part.get("absent") and not part["id"].startswith("lamp"):
        return math.inf
    middle, sigma = part["ohms"], part["tolerance"]
    for winding in ("pull", "hold"):
        if part["id"] == f"{winding}-winding":
            middle = kind[f"{winding}_ohms"]
            sigma = how["machines"]["two_windings_sigma"][winding]
    ohms = middle * math.exp(random.normal(0.0, sigma))
    if part.get("copper"):
        ohms *= 1 + 0.00393 * (celsius + random.uniform(0, 12) - 20)
    elif part["kind"] in ("wire", "contact"):
        ohms *= 1 + random.uniform(*how["limits"]["joint_share"])
    return float(ohms)


def _do(specimen: Specimen, deed: Mapping[str, Any], random: Random, common: float) -> None:
    """Do one deed of a fault; several ranges of one state move together, not in step."""
    place = float(np.clip(common + random.normal(0, 0.12), 0, 1))
    ends = deed.get("range") or next(
        (deed[k] for k in ("force", "gap", "pulse") if k in deed), None
    )
    level = ends[0] * (ends[1] / ends[0]) ** place if ends else 0.0
    factor = specimen.ratio**2
    if "add" in deed:
        specimen.ohms[deed["add"]] += level * factor
    elif "put" in deed:
        specimen.ohms[deed["put"]] = level * factor
    elif "scale" in deed:
        specimen.ohms[deed["scale"]] *= level
        specimen.turns[deed["scale"].split("-")[0]] *= level
    elif "battery" in deed:
        high, low = deed["battery"]
        specimen.volts["battery"] = (high + (low - high) * place) * specimen.ratio
    else:
        _do_other(specimen, deed, random, level)


def _do_other(specimen: Specimen, deed: Mapping[str, Any], random: Random, level: float) -> None:
    chances = own("world")["chances"]
    if "open" in deed and "during" in deed:
        specimen.open_during[deed["open"]] = deed["during"]
    elif "open" in deed:
        specimen.ohms[deed["open"]] = math.inf
    elif "stuck" in deed:
        specimen.stuck[deed["stuck"]] = deed["how"]
    elif "force" in deed:
        specimen.force = level
        specimen.linkage_binds = bool(random.random() < chances["linkage_binds"])
    elif "gap" in deed:
        specimen.gap_mm = level
    elif "pulse" in deed:
        specimen.pulse = level
    elif "fact" in deed:
        specimen.facts[deed["fact"]] = bool(random.random() < deed["is"])
    else:
        _misfit(specimen, deed, random)


def _misfit(specimen: Specimen, deed: Mapping[str, Any], random: Random) -> None:
    """Do what comes with a wrong part or wrong hands. Raises ValueError for an unknown deed."""
    if "crossed" in deed:
        specimen.crossed = True
    elif "swap_style" in deed:
        specimen.swapped_style = True
        if random.random() < own("world")["chances"]["leak_through_paint"]:
            specimen.leak_ohms = log_even(random, (1.0, 100.0))
    elif "other_voltage" in deed:
        factor = 4.0 if specimen.machine["system_volts"] == 12 else 0.25
        for winding in ("pull", "hold"):
            specimen.ohms[f"{winding}-winding"] *= factor
            specimen.turns[winding] = math.sqrt(factor)
    else:
        raise ValueError(f"unknown deed {dict(deed)}")
