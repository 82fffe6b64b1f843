"""What a specimen does, what happened to it before the call, and the complaint."""

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.proving.data import kb, own
from tests.proving.electrics import AS_IT_IS, Electrics, Setting
from tests.proving.machine import Specimen, break_it, draw_sound, log_even, renew
from tests.proving.roughness import Fate

STUCK_SECONDS = 60.0
SOUND_MARGIN = 1.05  # of the pull-in current: with less it would fail on the first cold day
BENCH_SECONDS = 0.7  # the pull is touched for under a second


@dataclass(frozen=True)
class Conduct:
    """How the solenoid and what hangs on it behave, each a plain fact."""

    pulls: bool
    long_enough: bool
    stays: bool
    stays_cranking: bool
    stays_running: bool
    comes_out: bool
    stuck_on: bool

    @property
    def works(self) -> bool:
        """Return whether the solenoid does its job: in, held, and out at key-off."""
        return self.pulls and self.stays and self.comes_out


class Story:
    """A specimen after the things that happened before anybody called."""

    def __init__(self, specimen: Specimen, random: np.random.Generator | None = None) -> None:
        """Live through what came before the call; without ``random`` nothing came before."""
        self.specimen, self.electrics = specimen, Electrics(specimen)
        if random is not None:
            self._live_through(random)
        self.conduct = self.conduct_with(AS_IT_IS)

    def _live_through(self, random: np.random.Generator) -> None:
        """Let the pull be asked for a few times: the fuse may open, the winding may burn."""
        how, specimen = own("world"), self.specimen
        tries = int(random.integers(how["tries"][0], how["tries"][1] + 1))
        stuck_for = log_even(random, how["stuck_seconds"])
        command, after = (self._fuse_ratio(phase) for phase in ("on-command", "after-command"))
        held = stuck_for if after > 0.2 else 0.0
        opens = fuse_seconds(command, specimen.fuse_luck) <= specimen.pulse * tries**0.5
        opens |= held > 0 and fuse_seconds(after, specimen.fuse_luck) <= held
        stuck_on = self.conduct_with(AS_IT_IS).stuck_on
        if opens:
            specimen.fuse_blown = True
        elif stuck_on and stuck_for > random.uniform(*how["burn_seconds"]):
            specimen.ohms["pull-winding"] = math.inf
        self.electrics = Electrics(specimen)

    def _fuse_ratio(self, phase: str) -> float:
        amps = abs(self.electrics.state(phase).solved.amperes("fuse"))
        return amps / self.specimen.limits["fuse_amps"]

    def share(self, winding: str, phase: str, setting: Setting = AS_IT_IS) -> float:
        """Return ampere-turns of a winding over their rated value."""
        amps = abs(self.electrics.state(phase, setting).solved.amperes(f"{winding}-winding"))
        rated = self.specimen.limits[f"rated_{winding}"]
        return amps * self.specimen.turns[winding] / rated

    def conduct_with(self, setting: Setting) -> Conduct:
        """Return how it behaves with something renewed, jumped or as it is."""
        specimen, limits = self.specimen, self.specimen.limits
        stuck = self.share("pull", "after-command", setting) > limits["stuck_share"]
        needed = limits["pull_in_share"] * math.sqrt(specimen.force)
        strong = self.share("pull", "on-command", setting) >= needed
        seconds = STUCK_SECONDS if stuck else specimen.pulse
        long_enough = seconds >= limits["travel_seconds"]
        free = specimen.force < limits["seized_force"]
        return Conduct(
            pulls=strong and long_enough,
            long_enough=long_enough,
            stays=self._stays("after-command", setting),
            stays_cranking=self._stays("cranking", setting),
            stays_running=self._stays("running", setting),
            comes_out=(
                not self._stays("off", setting) and specimen.facts["spring-returns"] and free
            ),
            stuck_on=stuck,
        )

    def _stays(self, phase: str, setting: Setting) -> bool:
        limits = self.specimen.limits
        strength = self.share("hold", phase, setting)
        strength += limits["seated_pull_strength"] * self.share("pull", phase, setting)
        gap = 1.0 + self.specimen.gap_mm / limits["seated_gap_mm"]
        return strength >= limits["hold_share"] * gap

    def starter_volts(self) -> float:
        """Return the volts at the starter while it cranks, on a 12 V basis."""
        solved = self.electrics.state("cranking").solved
        return solved.between("distribution", "chassis") / self.specimen.ratio

    @property
    def turns(self) -> bool:
        """Return whether the engine turns over."""
        return (
            self.specimen.facts["engine-turns"]
            and self.starter_volts() >= self.specimen.limits["turn_volts"]
        )

    @property
    def slow(self) -> bool:
        """Return whether it turns over slowly."""
        return self.starter_volts() < self.specimen.limits["speed_volts"]

    def bench(self) -> tuple[float, float]:
        """Return pull and hold of the part alone on a good battery, over what each needs."""
        specimen, limits = self.specimen, self.specimen.limits
        volts = limits["bench_volts"] * specimen.ratio
        force = 1.0 if specimen.linkage_binds else specimen.force
        pull = self._bench_share("pull", volts) / (limits["pull_in_share"] * math.sqrt(force))
        return pull, self._bench_share("hold", volts) / limits["hold_share"]

    def _bench_share(self, winding: str, volts: float) -> float:
        """Return ampere-turns over rated on the bench; a short to the body counts on its body."""
        specimen, limits = self.specimen, self.specimen.limits
        ohms, lead = specimen.ohms[f"{winding}-winding"], limits["bench_lead_ohms"]
        body_part = (specimen.machine["coil"] == "body-ground") != specimen.swapped_style
        short = specimen.ohms["body-short"] if winding == "pull" and body_part else math.inf
        both = 1.0 / (1.0 / ohms + 1.0 / short) if not math.isinf(short) else ohms
        amps = volts / (both + lead)
        if not math.isinf(short) and (
            fuse_seconds(amps / limits["fuse_amps"], specimen.fuse_luck) < BENCH_SECONDS
        ):
            return 0.0  # the fuse of the test lead opens
        return amps * both / ohms * specimen.turns[winding] / limits[f"rated_{winding}"]

    def situation(self, slow_starts: bool) -> str:
        """Return what the engine or brake does, as a key of the words for it in context.yaml."""
        if self.specimen.machine["duty"] == "fuel-shutoff":
            return self._engine(slow_starts)
        return self._brake()

    def _engine(self, slow_starts: bool) -> str:  # noqa: PLR0911 - one line a situation
        conduct, facts = self.conduct, self.specimen.facts
        timed = self.specimen.machine["control"] == "ignition-timed"
        if not self.turns:
            return "no-crank"
        if not conduct.pulls:
            return "no-pull" if conduct.stays_running else "no-pull-no-hold"
        if not conduct.stays_cranking or (timed and not conduct.stays):
            return "drops-before-crank" if timed else "drops-in-crank"
        if not facts["linkage-follows"]:
            return "lever-stuck"
        if self.slow and not slow_starts:
            return "slow-no-start"
        if not facts["fuel-arrives"]:
            return "no-fuel"
        if not facts["fuel-enough"]:
            return "little-fuel"
        if not conduct.stays_running:
            return "drops-running"
        if not conduct.comes_out:
            return "will-not-stop"
        return "sound-but-hot" if conduct.stuck_on else "sound"

    def _brake(self) -> str:  # noqa: PLR0911 - one line a situation
        conduct, facts = self.conduct, self.specimen.facts
        if not facts["lock-holds"] or (facts["linkage-follows"] and self._hangs()):
            return "will-not-hold"
        if not conduct.pulls:
            return "no-pull"
        if not conduct.stays:
            return "drops"
        if not facts["linkage-follows"]:
            return "lock-jammed"
        if self.specimen.gap_mm > self.specimen.limits["gap_seen_mm"]:
            return "half-lift"
        if not facts["machine-drives"]:
            return "no-drive"
        if not conduct.stays_running:
            return "drops"
        return "sound-but-hot" if conduct.stuck_on else "sound"

    def _hangs(self) -> bool:
        """Return whether the lock stays lifted at key-off; it can only after it was lifted once."""
        return not self.conduct.comes_out and (
            self.conduct.pulls or not self.specimen.facts["spring-returns"]
        )


def fuse_seconds(ratio: float, luck: float) -> float:
    """Return when a fuse opens at ``ratio`` x rating, inside the window of ISO 8820-3:2015.

    ``luck`` from 0 to 1 is where in the window this fuse lies, evenly in logarithms; between the
    listed points the two windows next to it are mixed. Infinite up to 110 %.
    """
    rows: Sequence[dict[str, float]] = kb("tables")["blade-fuses"]["rows"]
    points = [float(row["percent"]) / 100 for row in rows]
    if ratio <= points[0]:
        return math.inf
    if ratio >= points[-1]:
        return _inside(rows[-1], luck) * (points[-1] / ratio) ** 2
    above = next(number for number, point in enumerate(points) if point > ratio)
    share = (ratio - points[above - 1]) / (points[above] - points[above - 1])
    low, high = (math.log(_inside(rows[n], luck)) for n in (above - 1, above))
    return math.exp(low + (high - low) * share)


def _inside(row: dict[str, float], luck: float) -> float:
    early = math.log(row["earliest_seconds"])
    late = math.log(row["latest_seconds"] or row["earliest_seconds"] * 100)
    return math.exp(early + (late - early) * luck)


@dataclass
class Tale:
    """A machine with everything that it can be: broken, whole, with one fault of two, repaired."""

    sound: Specimen
    salt: int

    def broken(self, causes: Sequence[str] | None = None, renewed: str = "") -> Story:
        """Return the machine as its causes broke it (None: all), perhaps with a part replaced.

        The severities of a cause are the same whatever else is wrong.
        """
        specimen = self.sound.copy()
        if renewed:
            renew(specimen, renewed, np.random.default_rng([self.salt, 2]))
        for cause in self.sound.causes if causes is None else causes:
            key = zlib.crc32(cause.encode())
            break_it(specimen, cause, np.random.default_rng([self.salt, 1, key]))
        return Story(specimen, np.random.default_rng([self.salt, 3]))

    def whole(self, renewed: str = "") -> Story:
        """Return the machine while its fault is absent."""
        specimen = self.sound.copy()
        if renewed:
            renew(specimen, renewed, np.random.default_rng([self.salt, 2]))
        return Story(specimen)


def draw_tale(
    random: np.random.Generator, cause: str | None = None, fate: Fate | None = None
) -> Tale:
    """Return a machine that worked until its cause broke it; the cause by share, or as given.

    A draw of limits and tolerances that would not have worked when sound is no machine: it never
    left the yard, and another one is drawn.
    """
    while True:
        specimen = draw_sound(random, fate or Fate(), cause)
        if works_when_sound(specimen):
            return Tale(specimen, int(random.integers(2**32)))


def draw_story(
    random: np.random.Generator, cause: str | None = None, fate: Fate | None = None
) -> Story:
    """Return a machine as its cause broke it."""
    return draw_tale(random, cause, fate).broken()


def works_when_sound(specimen: Specimen) -> bool:
    """Return whether a machine with nothing broken does all that it is for."""
    sound = Story(specimen)
    margin = sound.share("pull", "on-command") / specimen.limits["pull_in_share"]
    return sound.situation(slow_starts=False) == "sound" and margin > SOUND_MARGIN
