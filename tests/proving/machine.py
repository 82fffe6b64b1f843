"""One simulated machine: its parts, its limits, and what is wrong with it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.proving.data import applies, circuit, kb, own
from tests.proving.roughness import NOT_LISTED, Fate

Random = np.random.Generator
REGULATED_OHMS = 0.0005  # a charging source holds its volts, whatever the battery takes
UNCALLED = ("healthy", "outside", NOT_LISTED)  # nothing in this circuit to put right


@dataclass
class Specimen:
    """A machine as it stands in the yard; ohms, volts and seconds are its own true values."""

    machine: dict[str, Any]
    told: dict[str, Any]  # the machine as the caller describes it
    fate: Fate
    causes: tuple[str, ...]  # one, two, or not-listed
    unlisted: str  # the name in unlisted.yaml, when that is what is wrong
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
    bridges: list[tuple[str, str, float]] = field(default_factory=list)

    def copy(self) -> "Specimen":
        """Return a machine that can be broken without breaking this one."""
        return replace(
            self, ohms=dict(self.ohms), volts=dict(self.volts), limits=dict(self.limits),
            facts=dict(self.facts), stuck=dict(self.stuck), open_during=dict(self.open_during),
            turns=dict(self.turns), bridges=list(self.bridges),
        )  # fmt: skip

    @property
    def chops(self) -> bool:
        """Return whether a controller holds with a chopped output."""
        return self.fate.chopped and self.machine["control"] != "ignition-timed"

    @property
    def comes_and_goes(self) -> bool:
        """Return whether the fault is absent at times."""
        able = own("world")["rough"]["intermittent"]["causes"]
        return self.fate.comes_and_goes and all(one in able for one in self.causes)

    @property
    def ratio(self) -> float:
        """Return system volts over 12."""
        return float(self.machine["system_volts"]) / 12.0

    def open_circuit(self, part: str) -> bool:
        """Return whether a part conducts nothing at all."""
        return math.isinf(self.ohms.get(part, 0.0))


def log_even(random: Random, ends: Sequence[float]) -> float:
    """Return a draw that is even in logarithms between two positive ends."""
    return float(math.exp(random.uniform(math.log(ends[0]), math.log(ends[1]))))


def pick(random: Random, shares: Mapping[Any, float]) -> Any:
    """Return a key in proportion to its share."""
    names = list(shares)
    weights = np.array([shares[name] for name in names], dtype=float)
    return names[int(random.choice(len(names), p=weights / weights.sum()))]


def draw_machine(
    random: Random, fate: Fate
) -> tuple[dict[str, Any], dict[str, Any], Mapping[str, Any]]:
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
    kind = _kind(random, fate)
    told = dict(machine)
    if random.random() < how["part_known"]:
        factor = (machine["system_volts"] / 12.0) ** 2
        told["pull_ohms"] = round(kind["pull_ohms"] * factor, 3)
        told["hold_ohms"] = round(kind["hold_ohms"] * factor, 1)
        told["fuse_amps"] = kind["fuse_amps"] * 12.0 / machine["system_volts"]
        told["pull_ohms_from"] = told["hold_ohms_from"] = "plate"
    if machine["control"] != "ignition-timed" and random.random() < how["outputs_known"]:
        told["relay_switched"] = "low" if fate.low_side else "high"
        told["hold_drive"] = "chopped" if fate.chopped else "steady"
    return machine, told, kind


def _kind(random: Random, fate: Fate) -> Mapping[str, Any]:
    """Return a kind of part: good ohms at 12 V and 20 C, and the fuse that goes with it."""
    if not fate.rough.spread:
        kinds: list[dict[str, Any]] = own("world")["machines"]["parts"]
        return kinds[pick(random, {number: one["share"] for number, one in enumerate(kinds)})]
    how = own("world")["rough"]["spread"]
    pull, hold = (log_even(random, how[key]) for key in ("pull_ohms", "hold_ohms"))
    fuse = next(amps for most, amps in how["fuse_amps"] if pull < most)
    return {"pull_ohms": round(pull, 2), "hold_ohms": round(hold), "fuse_amps": fuse}


def draw_sound(random: Random, fate: Fate, cause: str | None = None) -> Specimen:
    """Return a sound machine and what will break it: by the shares of kb/causes, or as given.

    Of a pair ``cause`` is the first.
    """
    machine, told, kind = draw_machine(random, fate)
    shares = {
        name: one["share"] for name, one in kb("causes").items()
        if name not in UNCALLED and name in own("faults") and applies(one, machine)
    }  # fmt: skip
    if cause not in (None, *shares):
        return draw_sound(random, fate, cause)
    causes: tuple[str, ...] = (cause or pick(random, shares),)
    unlisted = ""
    if fate.faults == "pair":
        causes += (pick(random, {n: share for n, share in shares.items() if n != causes[0]}),)
    elif fate.faults == NOT_LISTED:
        weights = {
            name: one["weight"] for name, one in own("unlisted").items()
            if name not in kb("causes") and applies(one, machine)
        }  # fmt: skip
        causes, unlisted = (NOT_LISTED,), pick(random, weights)
    return _sound(random, Specimen(
        machine, told, fate, causes, unlisted, circuit(machine["duty"], machine["control"]),
        {}, {}, {}, {}, {},
    ), kind)  # fmt: skip


def break_it(specimen: Specimen, cause: str, random: Random) -> None:
    """Do to a machine what a cause does: one state of it, its severities drawn."""
    listed = cause != NOT_LISTED
    states = own("faults")[cause] if listed else own("unlisted")[specimen.unlisted]["states"]
    state = pick(random, {number: one["weight"] for number, one in enumerate(states)})
    common = random.random()
    for deed in states[state]["deeds"]:
        _do(specimen, deed, random, common)


def renew(specimen: Specimen, what: str, random: Random) -> None:
    """Replace a part of a sound machine by another sound one."""
    for part, sigma in own("world")["rough"]["repairs"]["done"][what]["renews"].items():
        specimen.ohms[part] *= math.exp(random.normal(0, sigma))


def _sound(random: Random, bare: Specimen, kind: Mapping[str, Any]) -> Specimen:
    """Return the machine before anything went wrong: its parts, volts and limits drawn."""
    how, ratio, spread = own("world"), bare.ratio, bare.fate.rough.spread
    air = how["rough"]["spread"]["celsius"] if spread else how["machines"]["celsius"]
    drawn = Parts(random, bare.fate, kind, ratio, float(random.normal(air["mean"], air["sigma"])))
    parts = bare.plan["parts"]
    ohms = {name: drawn.ohms(one) for name, one in parts.items()}
    limits = {key: float(random.uniform(*ends)) for key, ends in how["limits"].items()}
    outputs = how["rough"]["outputs"]
    limits["chopped_volts"] = float(random.uniform(*outputs["chopped_volts"]))
    amps = {f"rated_{one}": 12 / kind[f"{one}_ohms"] / ratio for one in ("pull", "hold")}
    facts = dict.fromkeys(
        ("spring-returns", "linkage-follows", "lock-holds", "fuel-arrives", "fuel-enough",
         "engine-turns", "machine-drives"), True,
    )  # fmt: skip
    specimen = replace(
        bare, sound_ohms={}, ohms=ohms, facts=facts, volts=_volts(random, bare.fate, limits, ratio),
        limits={**limits, **amps, "fuse_amps": kind["fuse_amps"] / ratio},
        pulse=limits["pulse_seconds"], fuse_luck=float(random.random()),
    )  # fmt: skip
    if spread:
        _heavy_parts(random, specimen)
    if bare.fate.low_side and "pull-driver" in parts:
        specimen.ohms["pull-driver"] = float(random.uniform(*outputs["low_side_ohms"]))
        _switch_low(parts)
    specimen.ohms["charging"] = REGULATED_OHMS * ratio**2
    specimen.sound_ohms.update(specimen.ohms)
    return specimen


def _volts(
    random: Random, fate: Fate, limits: Mapping[str, float], ratio: float
) -> dict[str, float]:
    """Return volts of battery and charging; a battery that is not charged rests where it runs."""
    how = own("world")["rough"]
    rest, running = 12.55 * (1 + random.normal(0, 0.012)), limits["charging_volts"]
    if fate.rough.spread:
        rest = random.uniform(*how["spread"]["battery_volts"])
    if not fate.charges:
        running = random.uniform(*how["charging"]["volts"])
        rest = running + random.uniform(0.02, 0.2)
    elif fate.rough.charging:
        running = random.uniform(*how["charging"]["good"])
    return {"battery": float(rest) * ratio, "charging": float(running) * ratio}


def _heavy_parts(random: Random, specimen: Specimen) -> None:
    """Draw starter, battery and main cables: a large starter has large ones of both."""
    how, ratio = own("world")["rough"]["spread"], specimen.ratio
    starter = 10.5 / log_even(random, how["starter_amps"])
    battery = starter * log_even(random, how["battery_share"])
    cables = {f"main-cable-{end}": starter * log_even(random, how["cable_share"])
              for end in ("positive", "negative")}  # fmt: skip
    pair, wires = ratio**2, ratio**2
    if specimen.fate.rough.wiring:
        pair, wires = ratio, float(random.uniform(1, 1.5)) if ratio > 1 else 1.0
    specimen.ohms |= {"starter": starter * ratio**2, "battery": battery * pair}
    specimen.ohms |= {name: ohms * wires for name, ohms in cables.items()}


def _switch_low(parts: dict[str, Any]) -> None:
    """Let the controller pull terminal 85 down, with 86 at its own supply."""
    for name, ends in {
        "relay-coil-ground": ["controller-supply", "relay-86"],
        "relay-command-wire": ["relay-85", "pull-output"],
        "pull-driver": ["pull-output", "controller-ground"],
    }.items():
        parts[name] = {**parts[name], "between": ends}


class Parts:
    """Draws the ohms of one machine's sound parts, log-normal about a middle."""

    def __init__(
        self, random: Random, fate: Fate, kind: Mapping[str, Any], ratio: float, celsius: float,
    ) -> None:  # fmt: skip
        how = own("world")
        rough, warm = how["rough"]["spread"], how["rough"]["spread"]["warm"]
        self.random, self.fate, self.kind, self.ratio = random, fate, kind, ratio
        self.own_ohms = rough["parts"] if fate.rough.spread else {}
        self.width = log_even(random, rough["width"]) if fate.rough.spread else 1.0
        hot = fate.rough.spread and random.random() < warm["share"]
        self.celsius = celsius + (random.uniform(*warm["kelvin"]) if hot else 0.0)

    def ohms(self, part: Mapping[str, Any]) -> float:
        """Return a part's ohms; infinite for what is not there in a sound machine."""
        how, random, name = own("world"), self.random, part["id"]
        if part.get("absent") and not name.startswith("lamp"):
            return math.inf
        middle, sigma = self.own_ohms.get(name, (part["ohms"], part["tolerance"]))
        for winding in ("pull", "hold"):
            if name == f"{winding}-winding":
                middle = self.kind[f"{winding}_ohms"]
                sigma = how["machines"]["two_windings_sigma"][winding]
        ohms = middle * math.exp(random.normal(0.0, sigma * self.width))
        if part.get("copper"):
            ohms *= 1 + 0.00393 * (self.celsius + random.uniform(0, 12) - 20)
        elif part["kind"] in ("wire", "contact"):
            ohms *= 1 + random.uniform(*how["limits"]["joint_share"])
        return float(ohms * self._for_volts(part["kind"]))

    def _for_volts(self, kind: str) -> float:
        """Return ohms over those of a 12 V machine."""
        ordinary = self.fate.rough.wiring and kind in ("wire", "contact") and self.ratio > 1
        if ordinary:
            return float(self.random.uniform(*own("world")["rough"]["wiring"]["ordinary"]))
        return self.ratio**2


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
    elif "bridge" in deed:
        specimen.bridges.append((*deed["bridge"], level))
    elif "limit" in deed:
        specimen.limits[deed["limit"]] = level
    elif "scale" in deed:
        specimen.ohms[deed["scale"]] *= level
        specimen.turns[deed["scale"].split("-")[0]] *= level
    elif source := next((one for one in ("battery", "charging") if one in deed), None):
        high, low = deed[source]
        specimen.volts[source] = (high + (low - high) * place) * specimen.ratio
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
