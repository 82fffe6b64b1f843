"""Simulated machines that answer checks: what the person at the machine would report."""

import math
import zlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from engine.reasoning.request import MachineSchema
from tests.proving.data import applies, kb, own
from tests.proving.electrics import Setting, ohms_between
from tests.proving.machine import Specimen, log_even, pick
from tests.proving.roughness import ROUGH, SMOOTH, Fate, Roughness, draw_fate
from tests.proving.sayings import Noise, truth
from tests.proving.story import Story, Tale, draw_tale

OVER_RANGE_OHMS = 20e6
COMMANDED = ("plunger-action", "plunger-timing", "relay-click", "lamp-at-pull-pin",
             "lamp-at-hold-pin")  # fmt: skip
SILENT = {"plunger-action": "no-movement", "plunger-timing": "never", "relay-click": "not-heard",
          "lamp-at-pull-pin": "dark", "lamp-at-hold-pin": "dark"}  # fmt: skip
MOST_DRAWS = 400
MACHINE_FIELDS = frozenset(MachineSchema().fields)


@dataclass
class SimulatedMachine:
    """A machine whose true causes are known. ``ask`` gives a finding as the contract has it.

    ``story`` is the machine as it stands now, ``before`` as it was before a wrong part was
    replaced, ``absent`` while a fault that comes and goes is not there.
    """

    number: int
    seed: int
    tale: Tale = field(repr=False)
    noise: Noise = field(repr=False)
    replaced: str = ""
    left: tuple[str, ...] | None = None  # the causes that a right repair has left; None: all
    _asked: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Build the machine in each of its ways to be."""
        self.story = self.tale.broken(self.left, self.replaced)
        self.before = self.tale.broken(self.left) if self.replaced else self.story
        comes = self.story.specimen.comes_and_goes
        self.absent = self.tale.whole(self.replaced) if comes else None
        ends = own("world")["rough"]["intermittent"]["present"]
        self.present = float(self._random("", "present").uniform(*ends)) if comes else 1.0

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the true causes: one, two, or not-listed."""
        return self.story.specimen.causes

    @property
    def cause(self) -> str:
        """Return the true cause, the first of two."""
        return self.causes[0]

    @property
    def group(self) -> str:
        """Return what kind of truth it is: single, pair or not-listed."""
        return self.story.specimen.fate.faults

    def without(self, *causes: str) -> "SimulatedMachine":
        """Return the machine with one of two faults put right: the other is still there."""
        left = tuple(one for one in self.causes if one not in causes)
        return SimulatedMachine(self.number, self.seed, self.tale, self.noise, self.replaced, left)

    def begin(self) -> None:
        """Forget what was asked: the next check is done for the first time."""
        self._asked.clear()

    @property
    def put_right(self) -> list[str]:
        """Return the causes that the wrong part would have put right: they are not it."""
        if not self.replaced:
            return []
        causes = own("world")["rough"]["repairs"]["done"][self.replaced]["causes"]
        true = self.story.specimen.machine
        return [one for one in causes if one in kb("causes") and applies(kb("causes")[one], true)]

    @property
    def told(self) -> dict[str, Any]:
        """Return the machine as the caller describes it, in the words that the engine knows."""
        told = self.story.specimen.told.items()
        return {key: value for key, value in told if key in MACHINE_FIELDS}

    def good_ohms(self, field: str) -> float:
        """Return the good ohms of a winding, as whoever looks them up finds them."""
        specimen = self.story.specimen
        amperes = float(specimen.limits[f"rated_{field.removesuffix('_ohms')}"])
        return round(12.0 * specimen.ratio / amperes, 3)

    @property
    def complaint(self) -> str:
        """Return the check that the call begins with."""
        fuel = self.story.specimen.machine["duty"] == "fuel-shutoff"
        return "engine-response" if fuel else "brake-response"

    def can(self, check: str) -> bool:
        """Return whether the machine can have a check."""
        return applies(kb("checks")[check], self.story.specimen.machine)

    def checks(self, kinds: frozenset[str], bench: bool = True) -> list[str]:
        """Return the checks of some kinds that can be done, the complaint first."""
        found = [
            name for name, one in kb("checks").items()
            if one["kind"] in kinds and self.can(name) and (bench or name != "bench-pull")
        ]  # fmt: skip
        return sorted(found, key=lambda name: name != self.complaint)

    def told_before(self, check: str) -> bool:
        """Return whether a check was done before the wrong part was replaced."""
        if not self.replaced or kb("checks")[check]["kind"] in ("lamp", "meter", "clamp"):
            return False
        share = own("world")["rough"]["repairs"]["told_before"]
        return check == self.complaint or bool(self._random(check, "before").random() < share)

    def _seen(self, check: str, before: bool) -> Story:
        """Return the machine as whoever does a check finds it; the caller tells of the failing."""
        failing = self.before if before else self.story
        if self.absent is None or kb("checks")[check]["kind"] == "ask":
            return failing
        here = self._random(check, "here").random() < self.present
        return failing if here else self.absent

    def ask(self, check: str, before: bool = False) -> dict[str, Any]:
        """Return a finding: the same truth however often, a reading with fresh meter noise."""
        nth = self._asked.get(check, 0)
        kind = kb("checks")[check]["kind"]
        fixed = self._random(check, "truth")
        unknown = fixed.random() < own("world")["people"]["unknown"][kind]
        if self._out_of_reach(check) or (unknown and check != self.complaint):
            return {"check": check, "outcome": "not-known"}
        self._asked[check] = nth + 1
        seen = self._seen(check, before)
        if "outcomes" in kb("checks")[check]["result"]:
            return self._say(seen, check, fixed, again=nth > 0)
        return Reading(seen, check, fixed, self._random(check, nth), again=nth > 0).finding()

    def _random(self, check: str, salt: str | int) -> np.random.Generator:
        key = zlib.crc32(f"{check}/{salt}".encode())
        return np.random.default_rng([self.seed, self.number, key])

    def _out_of_reach(self, check: str) -> bool:
        hidden = {"in-block": ("plunger-travel", "hand-push-hold", "fuel-lever-by-hand",
                               "plunger-by-hand", "plunger-return"),
                  "top-plunge": ("hand-push-hold",)}  # fmt: skip
        if check in ("since-the-part", "part-label"):  # of a new part, where one was fitted
            random = self._random("recent-work", "truth")
            random.random()  # whether it is known, as in ``ask``
            return truth(self.story, "recent-work", random, self.noise) != "solenoid-replaced"
        return check in hidden.get(self.story.specimen.machine.get("fuel_actuation", ""), ())

    def _say(
        self, seen: Story, check: str, random: np.random.Generator, again: bool
    ) -> dict[str, Any]:
        """Return an outcome; whoever is asked again minds the moment."""
        people = own("world")["people"]
        answer = truth(seen, check, random, self.noise)
        finding: dict[str, Any] = {"check": check}
        timed = self.story.specimen.machine["control"] == "ignition-timed"
        early = check in COMMANDED and not timed and random.random() < people["wrong_moment"]
        if early and not again:
            answer = SILENT[check]
            if random.random() < people["says_so"]:
                finding["moment"] = "key-on"
        elif random.random() < people["wrong"][kb("checks")[check]["kind"]]:
            others = [o for o in kb("checks")[check]["result"]["outcomes"]
                      if o not in (answer, "electronic")]  # fmt: skip
            answer = str(random.choice(others))
        return {**finding, "outcome": answer}


class Reading:
    """One reading of one machine: the true value, then what the meter and its user make of it."""

    def __init__(
        self, story: Story, check: str, fixed: np.random.Generator,
        fresh: np.random.Generator, again: bool,
    ) -> None:  # fmt: skip
        self.electrics, self.check, self.fixed, self.fresh = story.electrics, check, fixed, fresh
        self.again = again
        self.specimen: Specimen = story.specimen
        self.unit = str(kb("checks")[check]["result"]["unit"])
        self.extra: dict[str, Any] = {}

    def finding(self) -> dict[str, Any]:
        """Return the finding."""
        value = self._value()
        people = own("world")["people"]
        if self.fixed.random() < people["wrong_value"] and math.isfinite(value):
            value *= self.fixed.uniform(0.2, 1.5)
        value = self._slip(value)
        if self.unit == "ohm":
            value = self._leads(value)
        if self.unit == "ohm" and value > OVER_RANGE_OHMS:
            return {"check": self.check, "outcome": "open", **self.extra}
        shown = self._shown(value)
        return {"check": self.check, "value": shown, "unit": self.unit, **self.extra}

    def _value(self) -> float:
        """Return the true value in the check's unit."""
        if self.check == "pull-pulse-seconds":
            return self._seconds()
        probe = own("probes")[self.check]
        electrics = self.electrics
        if "ohms" in probe:
            leak = log_even(self.fixed, own("world")["insulation_ohms"])
            red, black = (self._place(node) for node in probe["ohms"])
            return ohms_between(electrics, red, black, leak)
        setting = Setting(plug=probe.get("plug") != "removed")
        solved = electrics.state(probe["at"], setting).solved
        if "amperes" in probe:
            wire = probe["amperes"]
            if self.specimen.crossed:  # the clamp goes round the wire at the pin
                wire = {"pull-wire": "hold-wire", "hold-wire": "pull-wire"}[wire]
            return solved.amperes(wire)
        return solved.between(self._place(probe["red"]), self._place(probe["black"]))

    def _place(self, node: str) -> str:
        """Return the node that a technician touches for a name of probes.yaml."""
        case = self.specimen.machine["coil"] == "case-ground"
        if node == "ground":
            return "harness-ground" if case else "body"
        if node != "part-ground":
            return node
        people = own("world")["people"]
        place = "ground-pin" if case else "body"
        if not case and self.fixed.random() < people["wrong_place"]:
            place = "ground-pin"
        if self.fixed.random() < people["says_place"]:
            self.extra["measured_to"] = place
        return "coil-ground" if place == "ground-pin" else "body"

    def _seconds(self) -> float:
        """Return how long the pull pin is live; whoever sees it go on takes the command off."""
        electrics, least = self.electrics, 3.0 * self.specimen.ratio
        if electrics.state("after-command").solved.at("pull-pin-harness") > least:
            return float(self.fixed.uniform(3.0, 8.0))
        live = electrics.state("on-command").solved.at("pull-pin-harness") > least
        return self.specimen.pulse if live else 0.0

    def _slip(self, value: float) -> float:
        """Return the value that a slow meter or a wrong moment leaves, perhaps with the word."""
        probe, people = own("probes").get(self.check, {}), own("world")["people"]
        if probe.get("at") != "on-command" or "drop" in self.check or self.again:
            return value
        says = self.fixed.random() < people["says_so"]
        timed = self.specimen.machine["control"] == "ignition-timed"
        if self.fixed.random() < people["slow_meter"]:
            if says:
                tag = "no-peak-hold" if self.unit == "A" else "slow-meter"
                self.extra["circumstances"] = [tag]
            return value * float(self.fixed.uniform(0.0, 0.6))
        if not timed and self.fixed.random() < people["wrong_moment"]:
            if says:
                self.extra["moment"] = "key-on"
            state = self.electrics.state("off").solved
            return 0.0 if self.unit == "A" else state.between(
                self._place(probe["red"]), self._place(probe["black"])
            )  # fmt: skip
        if self.fixed.random() < people["says_moment"]:
            phase = self.specimen.plan["phases"]["on-command"]
            self.extra["moment"] = phase["moment"]
        return value

    def _leads(self, ohms: float) -> float:
        """Return what the ohmmeter shows with its leads, and note what was done about them."""
        how = own("world")["leads"]
        lead = float(self.fixed.uniform(*how["ohms"]))
        kind = self.fixed.random()
        if kind < how["zeroed"]:
            self.extra["lead_ohms"] = 0.0
            return ohms
        if kind < how["zeroed"] + how["stated"]:
            self.extra["lead_ohms"] = round(lead, 2)
        return ohms + lead

    def _shown(self, value: float) -> float:
        """Return the display: percent and counts of the meter, and how well it repeats."""
        world = own("world")
        kind = "fine" if self.check == "hold-current" else self.unit
        meter = world["meters"][kind]
        percent = self.fresh.uniform(*meter["percent"]) / 100 * self.fresh.uniform(-1, 1)
        counts = self.fresh.uniform(*meter["counts"]) * self.fresh.uniform(-1, 1)
        resolution = meter["resolution"] * (100 if self.unit == "ohm" and value > 400 else 1)
        value = value * (1 + percent) + counts * resolution * 0.5
        share, floor = world["again"][kind]
        value += self.fresh.normal(0, math.hypot(share * value, floor))
        if self.unit in ("ohm", "s"):
            value = max(value, 0.0)
        return float(round(round(value / resolution) * resolution, 4)) + 0.0


def draw_machines(
    count: int, seed: int, rough: Roughness = ROUGH, start: int = 0
) -> list[SimulatedMachine]:
    """Return machines that somebody would call about; the same seed gives the same machines."""
    noise = Noise(seed)
    return [draw_one(number, seed, noise, rough=rough) for number in range(start, start + count)]


def draw_one(  # noqa: PLR0917 - each may be given
    number: int, seed: int, noise: Noise | None = None, cause: str | None = None,
    rough: Roughness = SMOOTH, fate: Fate | None = None,
) -> SimulatedMachine:  # fmt: skip
    """Return machine ``number`` of a seed: drawn again until it has something to complain about.

    Each of two faults alone would be one to complain about.
    """
    random = np.random.default_rng([seed, 2, number])
    fate, noise = fate or draw_fate(random, rough), noise or Noise(seed)
    for _ in range(MOST_DRAWS):
        tale = draw_tale(random, cause, fate)
        causes = tale.sound.causes
        alone = [tale.broken([one]) for one in causes] if len(causes) > 1 else []
        if all(one.situation(slow_starts=False) != "sound" for one in (*alone, tale.broken())):
            replaced = _wrong_part(random, causes) if fate.repaired else ""
            return SimulatedMachine(number, seed, tale, noise, replaced)
    raise ValueError(f"no machine with {cause or fate} has anything to complain about")


def _wrong_part(random: np.random.Generator, causes: tuple[str, ...]) -> str:
    """Return a part that was replaced and cures nothing of what is wrong."""
    parts = own("world")["rough"]["repairs"]["done"]
    return str(pick(random, {
        name: one["share"] for name, one in parts.items() if not set(one["causes"]) & set(causes)
    }))  # fmt: skip
