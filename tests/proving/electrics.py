"""What is connected, which switches close, and the solved circuit of a specimen in a phase."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from tests.proving.machine import Specimen
from tests.proving.network import GROUND, Resistor, Solved, Source, solve

MAX_ROUNDS = 40
MAX_CHATTER = 4


@dataclass(frozen=True)
class Setting:
    """What a person has done to the machine for a moment."""

    plug: bool = True
    lamp: str = ""  # pull or hold
    jumper: bool = False
    renewed: frozenset[str] = frozenset()


AS_IT_IS = Setting()


@dataclass(frozen=True)
class State:
    """A solved phase: voltages, what is closed, how hard the relay coil pulls (1 operates)."""

    solved: Solved
    closed: frozenset[str]
    relay_closed: bool
    relay_armature: bool


class Electrics:
    """Solves a specimen phase by phase; each distinct question is solved once."""

    def __init__(self, specimen: Specimen) -> None:
        self.specimen = specimen
        self._kept: dict[tuple[str, Setting, bool], State] = {}

    def state(self, phase: str, setting: Setting = AS_IT_IS) -> State:
        """Return the steady state of a phase."""
        key = (phase, setting, self.specimen.fuse_blown)
        if key not in self._kept:
            self._kept[key] = self._settle(phase, setting)
        return self._kept[key]

    def _settle(self, phase: str, setting: Setting) -> State:
        """Let switches, outputs and relay act on the solved circuit until nothing changes."""
        plan = self.specimen.plan
        closed = set(plan["phases"][phase]["made"]) | self._fuses()
        if self.specimen.stuck.get("timer") == "closed":
            closed.add("timer")
        relay, armature, turns = self._welded(setting), False, 0
        for _ in range(MAX_ROUNDS):
            solved = self.solve(phase, setting, closed, relay)
            lost = {part for part in closed if self._lost(part, phase, solved)}
            closed -= lost
            wanted = self._coil(solved, armature, setting)
            if wanted == armature and not lost:
                break
            turns += wanted != armature
            armature = wanted and turns <= MAX_CHATTER
            relay = self._welded(setting) or (armature and not self._dead_contact(setting))
            if turns > MAX_CHATTER:  # it chatters: no use as a contact
                solved = self.solve(phase, setting, closed, relay)
                break
        return State(solved, frozenset(closed), relay, armature)

    def _fuses(self) -> set[str]:
        """Return the parts that open for good when they carry too much, switches apart."""
        parts = self.specimen.plan["parts"].items()
        return {n for n, one in parts if one.get("trips_at_amps") and not one.get("switched")}

    def _welded(self, setting: Setting) -> bool:
        stuck = self.specimen.stuck.get("relay-contact", "")
        return stuck == "closed" and "relay" not in setting.renewed

    def _dead_contact(self, setting: Setting) -> bool:
        stuck = self.specimen.stuck.get("relay-contact")
        return stuck == "open" and "relay" not in setting.renewed

    def _coil(self, solved: Solved, armature: bool, setting: Setting) -> bool:
        """Return whether the relay's armature is drawn in, with hysteresis, by its coil current."""
        limits, nominal = self.specimen.limits, 90.0 * self.specimen.ratio**2
        if self._welded(setting):
            return False
        volts = abs(solved.amperes("relay-coil")) * nominal / self.specimen.ratio
        needed = limits["relay_release_volts" if armature else "relay_operate_volts"]
        return bool(volts >= needed)

    def _lost(self, part: str, phase: str, solved: Solved) -> bool:
        """Return whether a switch or output gives up: starved of what it needs, or overloaded."""
        one = self.specimen.plan["parts"].get(part, {})
        limits, ratio = self.specimen.limits, self.specimen.ratio
        if self.specimen.stuck.get(part) != "closed":
            for need in one.get("needs", ()):
                volts = solved.between(need["node"], need.get("across", "chassis")) / ratio
                scale = limits["need_volts"] / 6.0
                here = phase in need.get("phases", (phase,))
                if here and volts < need["min_volts"] * scale:
                    return True
        if part == "hold-driver" and self.specimen.chops and solved.amperes(part) < -0.01:
            return True  # a chopped output takes no current back from a wire that is fed elsewhere
        return self._tripped(part, solved)

    def _tripped(self, part: str, solved: Solved) -> bool:
        trip = self.specimen.plan["parts"].get(part, {}).get("trips_at_amps")
        if trip is None:
            return False
        most = trip / self.specimen.ratio * self.specimen.limits["trip_share"]
        return bool(abs(solved.amperes(part)) > most)

    def solve(self, phase: str, setting: Setting, closed: set[str], relay: bool) -> Solved:
        """Solve the circuit with these switches closed."""
        return solve(*self.branches(phase, setting, closed, relay))

    def branches(
        self, phase: str, setting: Setting, closed: set[str], relay: bool
    ) -> tuple[list[Resistor], list[Source]]:
        """Return what conducts and what feeds it with these switches closed."""
        resistors: list[Resistor] = []
        sources: list[Source] = []
        for one in self.conductors(setting):
            part = self.specimen.plan["parts"].get(one.name, {})
            if part.get("kind") == "contact" and not relay:
                continue
            if (part.get("switched") or part.get("trips_at_amps")) and one.name not in closed:
                continue
            if self._is_open(one.name, phase):
                continue
            chopped = one.name == "hold-driver" and self.specimen.chops and phase != "on-command"
            if part.get("kind") == "source" or chopped:
                inside = f"{one.name}-inside"
                sources.append(Source(one.name, *self._feed(one, inside)))
                resistors.append(Resistor(one.name, inside, one.end, one.ohms))
            else:
                resistors.append(one)
        return resistors, sources

    def _feed(self, one: Resistor, inside: str) -> tuple[str, str, float]:
        """Return minus, plus and volts of a source; a chopped output regulates its average."""
        if one.name == "hold-driver":
            specimen = self.specimen
            return "controller-ground", inside, specimen.limits["chopped_volts"] * specimen.ratio
        return one.start, inside, self.specimen.volts[one.name]

    def _is_open(self, name: str, phase: str) -> bool:
        specimen = self.specimen
        if specimen.open_during.get(name) == phase:
            return True
        return name != "relay-contact" and specimen.stuck.get(name) == "open"

    def conductors(self, setting: Setting) -> Iterator[Resistor]:
        """Yield everything that conducts, whether or not a switch in it is closed now."""
        for name, part in self.specimen.plan["parts"].items():
            ohms = self._ohms(name, setting)
            if math.isinf(ohms) or (part.get("at_plug") and not setting.plug):
                continue
            if name.startswith("lamp-") and name != f"lamp-{setting.lamp}":
                continue
            start, end = self._ends(name, part)
            yield Resistor(name, start, end, ohms)
        yield from self._grounding(setting)

    def _ohms(self, name: str, setting: Setting) -> float:
        specimen = self.specimen
        renewed = {"relay-contact": "relay", "relay-coil": "relay"}.get(name)
        if renewed in setting.renewed:
            return specimen.sound_ohms[name]
        if name == "fuse":
            if "fuse" in setting.renewed:
                ohms = specimen.ohms[name]
                return specimen.sound_ohms[name] if math.isinf(ohms) else ohms
            return math.inf if specimen.fuse_blown else specimen.ohms[name]
        return specimen.ohms[name]

    def _ends(self, name: str, part: dict[str, Any]) -> tuple[str, str]:
        """Return where a part is joined; the solenoid's own ground side is drawn apart."""
        start, end = part["between"]
        if name == "ground":
            start = "harness-ground" if self.specimen.machine["coil"] == "case-ground" else "body"
        elif name == "body-short":
            end = "body"
        elif name == "ground-jumper":
            return "body", GROUND  # never there by itself: see _grounding
        elif self.specimen.crossed and name == "pull-wire":
            end = "hold-pin-harness"
        elif self.specimen.crossed and name == "hold-wire":
            end = "pull-pin-harness"
        return start, end

    def _grounding(self, setting: Setting) -> Iterator[Resistor]:
        """Yield bridges, and the part's own ground: to plug pin or body, as its style has it."""
        specimen, case = self.specimen, self.specimen.machine["coil"] == "case-ground"
        for number, (start, end, ohms) in enumerate(specimen.bridges):
            yield Resistor(f"bridge-{number}", start, end, ohms)
        part_is_case = case != specimen.swapped_style
        yield Resistor("inner-ground", "common", "coil-ground" if part_is_case else "body", 0.0005)
        if setting.plug:
            yield Resistor("plug-ground", "coil-ground", "harness-ground", 0.003)
        if case:  # bolted metal; paint under the bolt where nobody counts on it
            bolt = specimen.leak_ohms if specimen.swapped_style else 0.004
            if not math.isinf(bolt):
                yield Resistor("bolt", "body", "chassis", bolt)
        if setting.jumper:
            yield Resistor("jumper", "harness-ground" if case else "body", GROUND, 0.015)


def ohms_between(electrics: Electrics, red: str, black: str, leak: float) -> float:
    """Return what is between two points of the dead circuit, plug off, key off, in ohms.

    A test current of 1 mA goes in at one point and out at the other; ``leak`` is the insulation
    that every reading of an open circuit ends at.
    """
    specimen = electrics.specimen
    resistors = [Resistor("leak", red, black, leak)]
    for one in electrics.conductors(Setting(plug=False)):
        part = specimen.plan["parts"].get(one.name, {})
        kind = part.get("kind")
        welded = specimen.stuck.get("relay-contact") == "closed"
        if kind == "source" or part.get("switched") or (kind == "contact" and not welded):
            continue
        if specimen.stuck.get(one.name) == "open" and kind != "contact":
            continue
        resistors.append(one)
    # the test current through a known resistor from an ideal source: v / i is the unknown
    big = 1e4
    resistors.append(Resistor("test", "test-plus", red, big))
    resistors.append(Resistor("reference", black, GROUND, 1e12))  # or nothing would fix its volts
    solved = solve(resistors, [Source("test", black, "test-plus", 10.0)])
    current = solved.amperes("test")
    return abs(solved.between(red, black)) / max(abs(current), 1e-15)
