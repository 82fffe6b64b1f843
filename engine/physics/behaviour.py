"""What a person would see: events as probabilities, from margins in the solved circuit.

A margin m (what there is over what is needed) becomes a probability through a smooth step,
``Phi(ln m / sigma)``: parts, springs and friction differ from machine to machine, so the limit is
a log-normal quantity (judgement).
"""

import numpy as np
from scipy.special import ndtr

from engine.calculations import fuse
from engine.physics.circuit import Floats
from engine.physics.solution import Situation, Solution

OFF = Situation("off")
COMMAND = Situation("on-command")
AFTER = Situation("after-command")
CRANKING = Situation("cranking")
RUNNING = Situation("running")
JUMPER_COMMAND = Situation("on-command", added="ground-jumper")
JUMPER_AFTER = Situation("after-command", added="ground-jumper")
RELAY = ("relay-contact", "relay-coil", "relay-diode")
RELAY_OFF = Situation("off", restored=RELAY)
RELAY_COMMAND = Situation("on-command", restored=RELAY)
RELAY_AFTER = Situation("after-command", restored=RELAY)
NEW_FUSE = Situation("on-command", restored=("fuse",))
NEW_FUSE_AFTER = Situation("after-command", restored=("fuse",))
LAMP_PULL = Situation("on-command", plug_fitted=False, added="lamp-pull")
LAMP_HOLD = Situation("after-command", plug_fitted=False, added="lamp-hold")
SITUATIONS = (
    OFF, COMMAND, AFTER, CRANKING, RUNNING, JUMPER_COMMAND, JUMPER_AFTER, RELAY_OFF,
    RELAY_COMMAND, RELAY_AFTER, LAMP_PULL, LAMP_HOLD,
)  # fmt: skip

# Judgement, all of them: how sharp each limit is and where it lies.
FREE_FORCE, FREE_SIGMA = 1.5, 0.2  # times the normal force: felt as stiff above this
SEIZED_FORCE, SEIZED_SIGMA = 12.0, 0.3
GAP_SEEN_MM, GAP_SIGMA = 0.6, 0.4
STAYS_ON_SHARE, STAYS_ON_SIGMA = 0.25, 0.3
TURNS_VOLTS, TURNS_SIGMA = 4.0, 0.15  # at the starter of a 12 V machine
SPEED_VOLTS, SPEED_SIGMA = 8.2, 0.07
RELAY_SIGMA = 0.08
LIT_SHARE, BRIGHT_SHARE, LAMP_SIGMA = 0.2, 0.75, 0.07  # of the healthy circuit's voltage
BENCH_VOLTS, BENCH_LEAD_OHMS = 12.4, 0.05
HELD_SECONDS = 60.0
PULSE_TRIES = 3  # pulses that a person lets happen before looking at the fuse


def step(margin: Floats, sigma: float) -> Floats:
    """Return Phi(ln margin / sigma): 0 for a margin of 0, one half at 1."""
    with np.errstate(divide="ignore"):
        probability: Floats = ndtr(np.log(np.maximum(margin, 0.0)) / sigma)
    return probability


def fuse_openings(solution: Solution) -> tuple[Floats, Floats]:
    """Return the chance that a fresh pull fuse opens in one pulse, and in several or a stuck pull.

    Needs the situations NEW_FUSE and NEW_FUSE_AFTER.
    """
    cases = solution.cases
    pulse, rated = float(np.median(cases.setting("pulse-seconds"))), cases.variant.fuse_amps
    ratio = np.abs(solution.amperes(NEW_FUSE, "fuse")) / rated
    once = fuse.opening_probability(ratio, pulse)
    held_ratio = np.abs(solution.amperes(NEW_FUSE_AFTER, "fuse")) / rated
    held = fuse.opening_probability(held_ratio, HELD_SECONDS)
    ever = 1.0 - (1.0 - once) ** PULSE_TRIES * (1.0 - held)
    return once, ever


class Behaviour:
    """The events of every hypothesis, computed once from a solution."""

    def __init__(self, solution: Solution, fuse_opens: Floats) -> None:
        self._solution, self._variant = solution, solution.cases.variant
        self._plunger = self._variant.circuit.plunger
        self._fuse_opens = fuse_opens

    def events(self) -> dict[str, Floats]:
        """Return every event of items.EVENTS as probabilities, one a hypothesis."""
        found = {**self._mechanics(), **self._circuit(), **self._bench(), **self._lamps()}
        found["comes-out"] = self._comes_out(OFF)
        found["hold-is-chopped"] = np.full_like(
            found["comes-out"], self._variant.chopping is not None
        )
        for name, command, after, off in (
            ("works-now", COMMAND, AFTER, OFF),
            ("works-with-jumper", JUMPER_COMMAND, JUMPER_AFTER, OFF),
            ("works-with-relay-swapped", RELAY_COMMAND, RELAY_AFTER, RELAY_OFF),
        ):
            found[name] = (
                self._pulls_in(command, after) * self._stays_in(after) * self._comes_out(off)
            )
        return found

    def _setting(self, name: str) -> Floats:
        return self._solution.cases.setting(name)

    def _share(self, winding: str, amperes: Floats) -> Floats:
        """Return ampere-turns of the ``pull`` or ``hold`` winding over their rated value."""
        share: Floats = amperes * self._setting(f"{winding}-turns")
        return share / self._variant.rated_amps(winding)

    def _pull_share(self, situation: Situation) -> Floats:
        return self._share("pull", np.abs(self._solution.amperes(situation, "pull-winding")))

    def _pulls_in(self, command: Situation, after: Situation) -> Floats:
        """Return the chance that the plunger crosses the full gap within the pulse."""
        strong = self._is_strong(command)
        held = self._pull_share(after) > STAYS_ON_SHARE
        seconds = np.where(held, HELD_SECONDS, self._setting("pulse-seconds"))
        long = step(seconds / self._plunger.travel_seconds, self._plunger.travel_log_sigma)
        return strong * long

    def _is_strong(self, command: Situation) -> Floats:
        """Return the chance that the pull moves the plunger at all, however long it lasts."""
        needed = self._plunger.pull_in_share * np.sqrt(self._setting("pull-force-needed"))
        return step(self._pull_share(command) / needed, self._plunger.pull_in_log_sigma)

    def _stays_in(self, situation: Situation) -> Floats:
        """Return the chance that a plunger that is in stays in.

        Force goes with (ampere-turns over gap) squared, so the ampere-turns needed grow with the
        gap that a short travel leaves. The pull winding has some ten times the hold's ampere-turns.
        """
        hold = self._share("hold", np.abs(self._solution.amperes(situation, "hold-winding")))
        strength = hold + self._plunger.pull_seated_strength * self._pull_share(situation)
        gap = 1.0 + self._setting("travel-gap-mm") / self._plunger.seated_gap_mm
        return step(strength / (self._plunger.hold_share * gap), self._plunger.hold_log_sigma)

    def _comes_out(self, situation: Situation) -> Floats:
        free = 1.0 - step(self._setting("pull-force-needed") / SEIZED_FORCE, SEIZED_SIGMA)
        released: Floats = 1.0 - self._stays_in(situation)
        return released * self._setting("spring-returns") * free

    def _mechanics(self) -> dict[str, Floats]:
        force, gap = self._setting("pull-force-needed"), self._setting("travel-gap-mm")
        named = ("spring-returns", "linkage-follows", "lock-holds", "fuel-arrives",
                 "machine-drives")  # fmt: skip
        return {
            "plunger-free": 1.0 - step(force / FREE_FORCE, FREE_SIGMA),
            "plunger-moves": 1.0 - step(force / SEIZED_FORCE, SEIZED_SIGMA),
            "plunger-bottoms": 1.0 - step(np.maximum(gap, 0.05) / GAP_SEEN_MM, GAP_SIGMA),
            **{name: self._setting(name) for name in named},
        }

    def _circuit(self) -> dict[str, Floats]:
        solution = self._solution
        ratio = self._variant.system_volts / 12.0
        starter = np.maximum(solution.volts(CRANKING, "distribution", "chassis"), 0.0) / ratio
        turns = self._setting("engine-turns") * step(starter / TURNS_VOLTS, TURNS_SIGMA)
        closed = solution.conducts(OFF, "fuse")
        return {
            "relay-operates": step(solution.coil_strength(COMMAND), RELAY_SIGMA),
            "pull-is-strong": self._is_strong(COMMAND),
            "pulls-in": self._pulls_in(COMMAND, AFTER),
            "stays-in": self._stays_in(AFTER),
            "stays-in-cranking": self._stays_in(CRANKING),
            "stays-in-running": self._stays_in(RUNNING),
            "hand-held-stays": self._stays_in(AFTER),
            "pull-stays-on": step(self._pull_share(AFTER) / STAYS_ON_SHARE, STAYS_ON_SIGMA),
            "fuse-opens": self._fuse_opens,
            "fuse-is-open": np.where(closed, 0.0, 1.0),
            "engine-turns": turns,
            "cranks-at-speed": turns * step(starter / SPEED_VOLTS, SPEED_SIGMA),
        }

    def _bench(self) -> dict[str, Floats]:
        """Return how the part behaves alone on a good battery, its travel free."""
        cases, volts = self._solution.cases, BENCH_VOLTS * self._variant.system_volts / 12.0
        pull = cases.ohms[cases.part("pull-winding"), 0, cases.which] + BENCH_LEAD_OHMS
        hold = cases.ohms[cases.part("hold-winding"), 0, cases.which] + BENCH_LEAD_OHMS
        # where the body is the ground, a short to it bypasses the winding: the fused lead opens
        if self._variant.coil == "body-ground":
            short = cases.ohms[cases.part("body-short"), 0, cases.which]
            pull = np.where(np.isfinite(short), np.inf, pull)
        needed = self._plunger.pull_in_share * np.sqrt(self._setting("pull-force-needed"))
        return {
            "bench-pulls": step(
                self._share("pull", volts / pull) / needed, self._plunger.pull_in_log_sigma
            ),
            "bench-holds": step(
                self._share("hold", volts / hold) / self._plunger.hold_share,
                self._plunger.hold_log_sigma,
            ),
        }

    def _lamps(self) -> dict[str, Floats]:
        found = {}
        for name, situation, node in (
            ("lamp-pull", LAMP_PULL, "pull-pin-harness"),
            ("lamp-hold", LAMP_HOLD, "hold-pin-harness"),
        ):
            volts = np.maximum(self._solution.volts(situation, node, "battery-negative"), 0.0)
            off = self._variant.volts_off(situation.phase) if name == "lamp-hold" else 0.0
            good = max(float(volts[0]) + off, 1e-6)  # of the healthy circuit, hypothesis 0, steady
            found[f"{name}-bright"] = ndtr((volts / good - BRIGHT_SHARE) / LAMP_SIGMA)
            found[f"{name}-lit"] = ndtr((volts / good - LIT_SHARE) / LAMP_SIGMA)
        return found
