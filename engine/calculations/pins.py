"""Which pin is which on an unmarked three-pin solenoid, from three pin-to-pin readings.

Pull and hold winding meet at the ground pin, so between the two fed pins the meter reads the sum,
the largest of the three; from the ground pin it reads each winding by itself, and the pull winding
is the smallest. When the smaller two do not add up to the largest, half of what is left over sits
where both windings share a path (the joint, the ground pin, or leads that were not zeroed). A
passive part can never leave less than nothing over: then the readings themselves are wrong.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations
from typing import Literal

from scipy.special import ndtr

from engine.calculations.meter import conformance_probability, verdict

Name = Literal["pull", "hold", "ground"]
State = Literal["good", "low", "high", "open", "cannot-say"]
Closure = Literal["closes", "left-over", "impossible", "cannot-say"]

SURE = 0.95


@dataclass(frozen=True)
class PinReading:
    """Ohms between two pins with standard uncertainty; ``ohms`` None when over range (open)."""

    ohms: float | None
    uncertainty: float = 0.0


@dataclass(frozen=True)
class Expected:
    """Good ohms of the two windings at the temperature of the readings, and the share allowed."""

    pull_ohms: float
    hold_ohms: float
    share: float = 0.15

    def limits(self, ohms: float) -> tuple[float, float]:
        """Return the limits in ohm within which something of ``ohms`` is good."""
        return ohms * (1 - self.share), ohms * (1 + self.share)


@dataclass(frozen=True)
class Winding:
    """What a winding itself has, in ohm with standard uncertainty, and its state."""

    ohms: float | None
    uncertainty: float
    state: State


@dataclass(frozen=True)
class Pins:
    """The pins by name where they can be told, how sure that is, and what does not add up.

    ``sure`` is a probability. ``left_over`` in ohm, with standard uncertainty, is the smaller two
    readings less the largest: nothing on a good part. When something is left, ``shared_ohms`` is
    what both windings share, known to half the uncertainty of ``left_over``. ``cut_off`` is a pin
    that is open to both others, ``may_be`` what that pin can be.
    """

    pull: str | None = None
    hold: str | None = None
    ground: str | None = None
    sure: float = 0.0
    pull_winding: Winding | None = None
    hold_winding: Winding | None = None
    closure: Closure = "cannot-say"
    left_over: float | None = None
    left_over_uncertainty: float = 0.0
    shared_ohms: float | None = None
    cut_off: str | None = None
    may_be: tuple[Name, ...] = ()


def _winding(ohms: float, uncertainty: float, expected: Expected, good: float) -> Winding:
    """Return the winding with its state against the ``good`` ohms that are expected of it."""
    found = verdict(ohms, uncertainty, *expected.limits(good), SURE)
    off: State = "low" if ohms < good else "high"
    return Winding(ohms, uncertainty, off if found == "bad" else found)


def _closure(left_over: float, uncertainty: float, allowed: float) -> Closure:
    """Return whether the sum closes within ``allowed`` ohm, or on which side it fails."""
    found = verdict(left_over, uncertainty, -allowed, allowed, SURE)
    if found == "bad":
        return "left-over" if left_over > 0 else "impossible"
    return "closes" if found == "good" else "cannot-say"


def _all_read(pairs: list[tuple[PinReading, str]], expected: Expected) -> Pins:
    """Return the pins when all three pairs gave ohms; each pair comes with the pin not in it."""
    (small, hold), (middle, pull), (large, ground) = sorted(pairs, key=lambda p: p[0].ohms or 0.0)
    x, y, z = (reading.ohms or 0.0 for reading in (small, middle, large))
    # independent readings: root sum of squares (JCGM 100:2008 clause 5.1.2)
    u = math.hypot(small.uncertainty, middle.uncertainty, large.uncertainty)
    # The smallest pair tells the hold pin, the largest the ground pin: both must be right.
    told_hold = ndtr((y - x) / math.hypot(small.uncertainty, middle.uncertainty))
    told_ground = ndtr((z - y) / math.hypot(middle.uncertainty, large.uncertainty))
    found = Pins(
        pull=pull,
        hold=hold,
        ground=ground,
        sure=told_hold * told_ground,
        # Until the sum is known not to close, the direct reading of each winding is the better
        # one, because its uncertainty is smaller than that of a difference.
        pull_winding=_winding(x, small.uncertainty, expected, expected.pull_ohms),
        hold_winding=_winding(y, middle.uncertainty, expected, expected.hold_ohms),
        closure=_closure(x + y - z, u, expected.share * expected.pull_ohms),
        left_over=x + y - z,
        left_over_uncertainty=u,
    )
    if found.closure != "left-over":
        return found
    half = (x + y - z) / 2
    arms = {ground: half, pull: x - half, hold: y - half}
    return _star(found, arms, expected)


def _distance(arms: Mapping[str, float], pins: Sequence[str], expected: Expected) -> float:
    """Return how far, in log ohms, the arms lie from (pull, hold) when the pins are named so."""
    pairs = zip(pins[:2], (expected.pull_ohms, expected.hold_ohms), strict=True)
    return sum(abs(math.log(max(arms[pin], 1e-9) / good)) for pin, good in pairs)


def _fit(arms: Mapping[str, float], u: float, pins: Sequence[str], expected: Expected) -> float:
    """Return the probability that both windings are good when the pins are named so."""
    pairs = zip(pins[:2], (expected.pull_ohms, expected.hold_ohms), strict=True)
    return math.prod(
        conformance_probability(arms[pin], u, *expected.limits(good)) for pin, good in pairs
    )


def _star(found: Pins, arms: Mapping[str, float], expected: Expected) -> Pins:
    """Return the pins with the path that both windings share taken off.

    Three readings give three arms of a star, but not which arm is the shared path: that is told by
    the expected ohms, and is sure only as far as this naming fits and no other does.
    """
    u = found.left_over_uncertainty / 2
    namings = permutations(sorted(arms))
    best, *rest = sorted(namings, key=lambda pins: _distance(arms, pins, expected))
    pull, hold, ground = best
    unlike = math.prod(1 - _fit(arms, u, pins, expected) for pins in rest)
    return replace(
        found,
        pull=pull,
        hold=hold,
        ground=ground,
        sure=_fit(arms, u, best, expected) * unlike,
        pull_winding=_winding(arms[pull], u, expected, expected.pull_ohms),
        hold_winding=_winding(arms[hold], u, expected, expected.hold_ohms),
        shared_ohms=arms[ground],
    )


def _one_read(reading: PinReading, cut_off: str, expected: Expected) -> Pins:
    """Return what one pair tells when the third pin is open to both of its pins."""
    ohms, u = reading.ohms or 0.0, reading.uncertainty
    # What the pair would read if the pin that is cut off were this one.
    reads: dict[Name, float] = {
        "pull": expected.hold_ohms,
        "hold": expected.pull_ohms,
        "ground": expected.pull_ohms + expected.hold_ohms,
    }
    fits = {
        name: conformance_probability(ohms, u, *expected.limits(good))
        for name, good in reads.items()
    }
    may_be = tuple(name for name, chance in fits.items() if chance > 1 - SURE)
    if len(may_be) != 1:
        return Pins(cut_off=cut_off, may_be=may_be)
    only = may_be[0]
    named: dict[Name, str] = {only: cut_off}
    broken = Winding(None, 0.0, "open")
    other = None if only == "ground" else _winding(ohms, u, expected, reads[only])
    return Pins(
        pull=named.get("pull"),
        hold=named.get("hold"),
        ground=named.get("ground"),
        sure=fits[only],
        pull_winding=broken if only == "pull" else other,
        hold_winding=broken if only == "hold" else other,
        cut_off=cut_off,
        may_be=may_be,
    )


def identify(ab: PinReading, bc: PinReading, ca: PinReading, expected: Expected) -> Pins:
    """Return which of the pins 'a', 'b', 'c' is pull, hold and ground, and what is wrong.

    Readings in ohm between the pins of the unplugged part, the ohms of the test leads taken off.
    All three pairs read: the pins are named by size, taking the hold winding to have more ohms than
    the pull winding, and ``sure`` is the probability that the order of the readings is real. Two
    pairs open: the third pin is cut off, and ``may_be`` names what it can be by the ohms of the
    pair left. One pair open: closure 'impossible', the readings or the meter's range are wrong.
    Source: resistances in series; the star of three resistances from its three pairs (Kennelly
    1899, from memory).
    """
    read = [pair for pair in ((ab, "c"), (bc, "a"), (ca, "b")) if pair[0].ohms is not None]
    if len(read) == 3:
        return _all_read(read, expected)
    if len(read) == 1:
        return _one_read(*read[0], expected)
    return Pins(closure="impossible" if read else "cannot-say")
