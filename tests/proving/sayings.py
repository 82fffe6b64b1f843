"""The answers of a simulated person to the checks that have outcomes, before any slip."""

import math
import zlib
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from tests.proving.data import kb, own
from tests.proving.electrics import Setting
from tests.proving.machine import pick
from tests.proving.story import Conduct, Story, fuse_seconds

Random = np.random.Generator
JUMPED, NEW_RELAY = Setting(jumper=True), Setting(renewed=frozenset({"relay"}))
NEW_FUSE = Setting(renewed=frozenset({"fuse"}))


def truth(story: Story, check: str, random: Random, noise: "Noise") -> str:
    """Return what a careful person would answer to a check."""
    if check in _TRUTHS:
        return _TRUTHS[check](story, random)
    if check in ("failure-pattern", "recent-work", "parked-on-slope", "fuel-control"):
        rows = own("context")[check]
        row = rows[next((one for one in story.specimen.causes if one in rows), "usual")]
        return str(pick(random, _pattern(story, row) if check == "failure-pattern" else row))
    return noise.answer(story, check, random)


def _pattern(story: Story, row: Mapping[str, float]) -> dict[str, float]:
    """Return how a fault that comes and goes is told, and one that does not."""
    if not story.specimen.fate.rough.intermittent:
        return dict(row)
    how = own("world")["rough"]["intermittent"]
    weights = how["hard_says"]
    if story.specimen.comes_and_goes:
        weights = {"always": how["says_always"]}
    return {name: share * weights.get(name, 1.0) for name, share in row.items()}


class Noise:
    """The kb's tables as one run of the proving ground has them: every row shaken.

    A row's shake depends on the run's seed and the row alone, so that it is the same in any process
    and whichever machine asks first.
    """

    def __init__(self, seed: int) -> None:
        self._seed, self._rows = seed, dict[Any, dict[str, float]]()
        self._weight = float(own("world")["chances"]["table_noise"])

    def answer(self, story: Story, check: str, random: Random) -> str:
        """Return an outcome of a check that only the kb's table knows about."""
        predicted = kb("checks")[check]["predicted_by"]
        given = predicted.get("given", {})
        causes = story.specimen.causes
        cause = next((one for one in causes if one in given), causes[0])
        row = given.get(cause)
        key: tuple[Any, ...] = (check, cause)
        if row is None:
            row, path = _walk(story, predicted["otherwise"])
            key = (check, "otherwise", path)
        return str(pick(random, self._shaken(key, row)))

    def _shaken(self, key: tuple[Any, ...], row: Mapping[str, float]) -> dict[str, float]:
        if key not in self._rows:
            weights = np.array([max(share, 1e-4) for share in row.values()])
            random = np.random.default_rng([self._seed, 1, zlib.crc32(repr(key).encode())])
            drawn = random.dirichlet(weights * self._weight)
            self._rows[key] = dict(zip(row, drawn.tolist(), strict=True))
        return self._rows[key]


def _walk(story: Story, tree: Mapping[str, Any]) -> tuple[Mapping[str, float], str]:
    """Follow a table's tree by what this machine does; return the leaf and the way to it."""
    path = ""
    while "if" in tree:
        taken = "then" if _event(story, tree["if"]) else "else"
        tree, path = tree[taken], f"{path}/{taken}"
    return tree, path


def _event(story: Story, test: str | Mapping[str, Any]) -> bool:
    if not isinstance(test, str):
        return all(story.specimen.machine.get(k) in allowed for k, allowed in test.items())
    conduct = story.conduct
    return {"pull-stays-on": conduct.stuck_on, "works-now": conduct.works,
            "pulls-in": conduct.pulls, "relay-operates": _clicks(story)}[test]  # fmt: skip


def _clicks(story: Story) -> bool:
    return story.electrics.state("on-command").relay_armature


def _response(story: Story, random: Random) -> str:
    duty = story.specimen.machine["duty"]
    check = "engine-response" if duty == "fuel-shutoff" else "brake-response"
    slow_starts = bool(random.random() < own("world")["chances"]["slow_crank_starts"])
    return str(pick(random, own("context")["words"][check][story.situation(slow_starts)]))


def _plunger_action(story: Story, random: Random) -> str:
    specimen, conduct = story.specimen, story.conduct
    where = specimen.machine.get("fuel_actuation", "")
    hidden = {"in-block": 0.94, "top-plunge": 0.3}.get(where, 0.08)
    if random.random() < hidden:
        return "cannot-tell"
    if conduct.pulls and not conduct.comes_out and random.random() < 0.45:
        return "no-movement"  # it is in already
    if conduct.pulls:
        return "pulls-and-stays" if conduct.stays else "pulls-then-drops"
    twitch = story.share("pull", "on-command") > 0.6 * _pull_needed(story)
    short = not conduct.long_enough and story.share("pull", "on-command") > _pull_needed(story)
    if short or (twitch and specimen.force < specimen.limits["seized_force"]):
        return "pulls-then-drops" if random.random() < (0.6 if short else 0.25) else "no-movement"
    return "no-movement"


def _pull_needed(story: Story) -> float:
    return story.specimen.limits["pull_in_share"] * math.sqrt(story.specimen.force)


def _plunger_timing(story: Story, random: Random) -> str:
    if not story.conduct.pulls:
        return "never"
    return {"ignition-timed": "at-key-on", "controller-on-crank": "at-crank",
            "controller-on-request": "at-release-request"}[
        story.specimen.machine["control"]]  # fmt: skip


def _relay_click(story: Story, random: Random) -> str:
    heard = 0.93 if _clicks(story) else 0.06
    return "heard" if random.random() < heard else "not-heard"


def _interlock_lamp(story: Story, random: Random) -> str:
    if story.specimen.limits["lamp_fitted"] < own("world")["people"]["no_lamp_fitted"]:
        return "not-fitted"
    unmet = story.specimen.open_circuit("interlock-switch")
    dead = any(story.specimen.open_circuit(f"controller-{one}") for one in ("feed", "ground-wire"))
    return "on" if random.random() < (0.93 if unmet else 0.12 if dead else 0.07) else "off"


def _crank_speed(story: Story, random: Random) -> str:
    if not story.turns:
        return "none"
    return "slow" if story.slow else "normal"


def _starter_sound(story: Story, random: Random) -> str:
    if story.turns:
        return "turns"
    if story.specimen.facts["engine-turns"]:  # it would, on a better supply
        return str(pick(random, {"chatters": 0.6, "one-clack": 0.25, "silent": 0.15}))
    return str(pick(random, {"silent": 0.5, "one-clack": 0.37, "spins-free": 0.13}))


def _fuse_look(story: Story, random: Random) -> str:
    blown = story.specimen.fuse_blown or story.specimen.open_circuit("fuse")
    seen = 0.82 if story.specimen.open_circuit("fuse") else 0.95  # age leaves a hairline
    return "blown" if random.random() < (seen if blown else 0.01) else "intact"


def _fuse_again(story: Story, random: Random) -> str:
    limits, luck = story.specimen.limits, float(random.random())
    amps = [abs(story.electrics.state(p, NEW_FUSE).solved.amperes("fuse")) / limits["fuse_amps"]
            for p in ("on-command", "after-command")]  # fmt: skip
    if fuse_seconds(amps[0], luck) <= max(story.specimen.pulse, 1.0 if amps[1] > 0.2 else 0.0):
        return "blows-at-once"
    later = fuse_seconds(amps[1], luck) <= 60 or fuse_seconds(amps[0], luck) <= 3
    return "blows-later" if later else "holds"


def _by_hand(story: Story, random: Random) -> str:
    force, limits = story.specimen.force, story.specimen.limits
    if force >= limits["seized_force"]:
        return "stuck"
    if not story.specimen.facts["linkage-follows"]:
        return str(pick(random, {"free": 0.5, "stiff": 0.25, "stuck": 0.25}))
    return "stiff" if force >= limits["stiff_force"] else "free"


def _return(story: Story, random: Random) -> str:
    force, limits = story.specimen.force, story.specimen.limits
    if not story.specimen.facts["spring-returns"]:
        return "stays-in" if random.random() < 0.8 else "slow"
    if force >= limits["seized_force"]:
        return str(pick(random, {"stays-in": 0.5, "slow": 0.25, "springs-out": 0.25}))
    if force >= limits["stiff_force"]:
        return "slow" if random.random() < 0.65 else "springs-out"
    return "springs-out"


def _travel(story: Story, random: Random) -> str:
    limits = story.specimen.limits
    short = story.specimen.gap_mm > limits["gap_seen_mm"]
    seized = story.specimen.force >= limits["seized_force"] and random.random() < 0.7
    jammed = not story.specimen.facts["linkage-follows"] and random.random() < 0.3
    return "stops-short" if short or seized or jammed else "bottoms"


def _hand_push(story: Story, random: Random) -> str:
    if story.specimen.force >= story.specimen.limits["seized_force"]:
        return "drops" if random.random() < 0.7 else "stays"
    stays = story.conduct.stays or not story.specimen.facts["spring-returns"]
    return "stays" if stays else "drops"


def _bench(story: Story, random: Random) -> str:
    specimen = story.specimen
    seized = specimen.force >= specimen.limits["seized_force"] and not specimen.linkage_binds
    if seized:
        return "no-movement"
    chance = own("world")["chances"]["finds_the_ground"]
    if specimen.swapped_style and random.random() >= chance:
        return "no-movement"
    pull, hold = story.bench()
    if pull >= 1:
        return "pulls-and-holds" if hold >= 1 else "pulls-then-drops"
    return "weak" if pull > 0.35 and random.random() < 0.75 else "no-movement"


def _cures(setting: Setting) -> Callable[[Story, Random], str]:
    def answer(story: Story, random: Random) -> str:
        if story.conduct.works:
            return "no-change"
        better: Conduct = story.conduct_with(setting)
        return "cures" if better.works else "no-change"

    return answer


def _lamp(winding: str) -> Callable[[Story, Random], str]:
    phase = "on-command" if winding == "pull" else "after-command"

    def answer(story: Story, random: Random) -> str:
        specimen, limits = story.specimen, story.specimen.limits
        state = story.electrics.state(phase, Setting(plug=False, lamp=winding))
        volts = state.solved.at(f"{winding}-pin-harness") / (12.0 * specimen.ratio)
        if winding == "pull" and not story.conduct.stuck_on:
            volts *= 1 - math.exp(-specimen.pulse / limits["lamp_seconds"])
        if volts >= limits["lamp_bright"]:
            return "bright"
        return "dim" if volts >= limits["lamp_lit"] else "dark"

    return answer


def _lever(story: Story, random: Random) -> str:
    if story.specimen.facts["linkage-follows"]:
        return "free"
    return "stuck" if random.random() < 0.77 else "detached"


def _fuel(story: Story, random: Random) -> str:
    specimen, conduct = story.specimen, story.conduct
    opened = conduct.pulls and conduct.stays_cranking and specimen.facts["linkage-follows"]
    if not (story.turns and opened and specimen.facts["fuel-arrives"]):
        return "no-fuel"
    if not specimen.facts["fuel-enough"]:
        return "fuel-present" if random.random() < 0.4 else "no-fuel"
    return "fuel-present"


def _smoke(story: Story, random: Random) -> str:
    """Return what leaves the exhaust: fuel that is injected and does not burn is white."""
    specimen, conduct = story.specimen, story.conduct
    opened = conduct.pulls and conduct.stays_cranking and specimen.facts["linkage-follows"]
    if not (story.turns and opened and specimen.facts["fuel-arrives"]):
        return "none" if random.random() < 0.93 else "white"
    shares = {"white": 55, "none": 28, "black": 17}
    if not specimen.facts["fuel-enough"]:
        shares = {"white": 35, "none": 60, "black": 5}
    return str(pick(random, shares))


def _wires_seen(story: Story, random: Random) -> str:
    """Return how many wires go into the part that is fitted, whatever the harness has."""
    case = story.specimen.machine["coil"] == "case-ground"
    if random.random() < 0.04:
        return "cannot-see"
    if case != story.specimen.swapped_style:
        return "three-wires"
    return "three-wires" if random.random() < 0.06 else "two-wires"


def _unplugged(story: Story, random: Random) -> str:
    """Return whether an engine that runs stops with the plug off; most do not run when called."""
    specimen, conduct = story.specimen, story.conduct
    runs = story.turns and conduct.pulls and conduct.stays_running
    runs = runs and specimen.facts["fuel-arrives"] and specimen.facts["linkage-follows"]
    seized = specimen.force >= specimen.limits["seized_force"]
    if not runs or random.random() < 0.25:
        return "not-running"
    return "keeps-running" if seized or not specimen.facts["spring-returns"] else "stops"


def _contact(story: Story, random: Random) -> str:
    """Return what the contact of the relay shows out of its socket: a weld may part on the way."""
    welded = story.specimen.stuck.get("relay-contact") == "closed"
    return "closed" if welded and random.random() < 0.92 else "open"


def _lock(story: Story, random: Random) -> str:
    if not story.specimen.facts["lock-holds"]:
        return "broken-or-missing"
    if not story.specimen.facts["linkage-follows"]:
        return "jammed" if random.random() < 0.86 else "present-and-moves"
    return "present-and-moves"


_TRUTHS: dict[str, Callable[[Story, Random], str]] = {
    "engine-response": _response, "brake-response": _response,
    "plunger-action": _plunger_action, "plunger-timing": _plunger_timing,
    "relay-click": _relay_click, "interlock-lamp": _interlock_lamp, "crank-speed": _crank_speed,
    "starter-sound": _starter_sound,
    "fuse-look": _fuse_look, "fuse-after-replacement": _fuse_again, "plunger-by-hand": _by_hand,
    "plunger-return": _return, "plunger-travel": _travel, "hand-push-hold": _hand_push,
    "bench-pull": _bench, "relay-swap": _cures(NEW_RELAY), "ground-jumper": _cures(JUMPED),
    "lamp-at-pull-pin": _lamp("pull"), "lamp-at-hold-pin": _lamp("hold"),
    "fuel-lever-by-hand": _lever, "fuel-at-injectors": _fuel, "lock-look": _lock,
    "exhaust-smoke-at-crank": _smoke, "ground-wire-in-plug": _wires_seen,
    "stops-when-unplugged": _unplugged, "relay-contact-unpowered": _contact,
}  # fmt: skip
