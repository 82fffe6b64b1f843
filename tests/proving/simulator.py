"""Simulated machines that answer checks: what the person at the machine would report."""

import math
import zlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.proving.data import applies, kb, own
from tests.proving.electrics import Setting, ohms_between
from tests.proving.machine import Specimen, log_even
from tests.proving.sayings import Noise, truth
from tests.proving.story import Story, draw_story

OVER_RANGE_OHMS = 20e6
COMMANDED = ("plunger-action", "plunger-timing", "relay-click", "lamp-at-pull-pin",
             "lamp-at-hold-pin")  # fmt: skip
SILENT = {"plunger-action": "no-movement", "plunger-timing": "never", "relay-click": "not-heard",
          "lamp-at-pull-pin": "dark", "lamp-at-hold-pin": "dark"}  # fmt: skip
MOST_DRAWS = 400


@dataclass
class SimulatedMachine:
    """A machine with one true cause. ``ask`` gives a finding as the contract has it."""

    number: int
    seed: int
    story: Story
    noise: Noise = field(repr=False)
    _asked: dict[str, int] = field(default_factory=dict)

    @property
    def cause(self) -> str:
        """Return the true cause."""
        return self.story.specimen.cause

    @property
    def minutes(self) -> float:
        """Return the minutes of the right repair."""
        return self.story.specimen.minutes

    @property
    def told(self) -> dict[str, Any]:
        """Return the machine as the caller describes it."""
        return dict(self.story.specimen.told)

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

    def ask(self, check: str) -> dict[str, Any]:
        """Return a finding: the same truth however often, a reading with fresh meter noise."""
        nth = self._asked.get(check, 0)
        kind = kb("checks")[check]["kind"]
        fixed = self._random(check, "truth")
        unknown = fixed.random() < own("world")["people"]["unknown"][kind]
        if self._out_of_reach(check) or (unknown and check != self.complaint):
            return {"check": check, "outcome": "not-known"}
        self._asked[check] = nth + 1
        if "outcomes" in kb("checks")[check]["result"]:
            return self._say(check, kind, fixed, again=nth > 0)
        return Reading(self, check, fixed, self._random(check, nth), again=nth > 0).finding()

    def _random(self, check: str, salt: str | int) -> np.random.Generator:
        key = zlib.crc32(f"{check}/{salt}".encode())
        return np.random.default_rng([self.seed, self.number, key])

    def _out_of_reach(self, check: str) -> bool:
        hidden = {"in-block": ("plunger-travel", "hand-push-hold", "fuel-lever-by-hand",
                               "plunger-by-hand", "plunger-return"),
                  "top-plunge": ("hand-push-hold",)}  # fmt: skip
        return check in hidden.get(self.story.specimen.machine.get("fuel_actuation", ""), ())

    def _say(
        self, check: str, kind: str, random: np.random.Generator, again: bool
    ) -> dict[str, Any]:
        """Return an outcome; whoever is asked again minds the moment."""
        people = own("world")["people"]
        answer = truth(self.story, check, random, self.noise)
        finding: dict[str, Any] = {"check": check}
        timed = self.story.specimen.machine["control"] == "ignition-timed"
        early = check in COMMANDED and not timed and random.random() < people["wrong_moment"]
        if early and not again:
            answer = SILENT[check]
            if random.random() < people["says_so"]:
                finding["moment"] = "key-on"
        elif random.random() < people["wrong"][kind]:
            others = [o for o in kb("checks")[check]["result"]["outcomes"]
                      if o not in (answer, "electronic")]  # fmt: skip
            answer = str(random.choice(others))
        return {**finding, "outcome": answer}


class Reading:
    """One reading of one machine: the true value, then what the meter and its user make of it."""

    def __init__(
        self, machine: SimulatedMachine, check: str, fixed: np.random.Generator,
        fresh: np.random.Generator, again: bool,
    ) -> None:  # fmt: skip
        self.machine, self.check, self.fixed, self.fresh = machine, check, fixed, fresh
        self.again = again
        self.specimen: Specimen = machine.story.specimen
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
        electrics = self.machine.story.electrics
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
        electrics, least = self.machine.story.electrics, 3.0 * self.specimen.ratio
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
            state = self.machine.story.electrics.state("off").solved
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


def draw_machines(count: int, seed: int) -> list[SimulatedMachine]:
    """Return machines that somebody would call about; the same seed gives the same machines."""
    noise = Noise(np.random.default_rng([seed, 1]))
    return [draw_one(number, seed, noise) for number in range(count)]


def draw_one(
    number: int, seed: int, noise: Noise | None = None, cause: str | None = None
) -> SimulatedMachine:
    """Return machine ``number`` of a seed: drawn again until it has something to complain about."""
    random = np.random.default_rng([seed, 2, number])
    noise = noise or Noise(np.random.default_rng([seed, 1]))
    for _ in range(MOST_DRAWS):
        story = draw_story(random, cause)
        if story.situation(slow_starts=False) != "sound":
            return SimulatedMachine(number, seed, story, noise)
    raise ValueError(f"no machine with {cause} has anything to complain about")
