"""What spoils a recording, said in words, with what to record instead."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from engine.traces.pull import Level, hum_of
from engine.traces.trace import Samples, Trace, means

MOST_HUM = 0.15  # of the pulse's height
COARSE = 0.05  # of the height: a recorder's step that is no resolution (judgement)
MOST_LEVELS = 2**16  # samples in which the step is looked for
AC_SHARE = 0.1  # of the height that is passed below zero once the current has stopped


@dataclass(frozen=True)
class TraceRefusal:
    """What cannot be told from this recording (a channel or a check), why, and what to do."""

    about: str
    because: str
    instead: str


UNSETTLED = TraceRefusal(
    "pull-current", "The pull ends before its current has settled.",
    "Record a pull that lasts longer, or read the volts at the pull pin.",
)  # fmt: skip
_FINE = (
    "Record 5000 samples a second or more, the clamp on the smallest range that holds the pull, "
    "with the volts at the pull pin beside it."
)
TOO_SLOW = TraceRefusal("plunger", "Fewer than 500 samples a second miss a plunger.", _FINE)
TOO_NOISY = TraceRefusal("plunger", "What a plunger does would be lost in the noise.", _FINE)
STILL_ON = TraceRefusal(
    "pull-pulse-seconds", "The pull is still on where the recording ends.",
    "Take the command off after three seconds at most, and record on until it is off.",
)  # fmt: skip
TOO_SHORT = TraceRefusal(
    "pull-pin-voltage-after", "The recording ends less than five seconds after the command.",
    "Keep the command on, and record for six seconds; stop at once if the pull stays on.",
)  # fmt: skip
_AGAIN = "Name the columns again, or swap the clamps and record again."
NO_BOUNCE = TraceRefusal(
    "bounces", "Fewer than 4000 samples a second miss a contact that bounces.",
    "Record the volts at the pull pin, 10000 samples a second or more.",
)  # fmt: skip
NO_HOLD = TraceRefusal(
    "hold-current", "No hold of 0.2 s follows the pull.",
    "Keep the command on, and record for six seconds.",
)  # fmt: skip


def refusals(trace: Trace, levels: Mapping[str, Level]) -> list[TraceRefusal]:
    """Return what spoils the channels of a recording."""
    found = list(_swapped(levels, trace))
    for role in trace.channels:
        level = levels.get(role)
        if level is None:
            found += _silent(role)
            continue
        found += [TraceRefusal(role, *one) for one in _spoiled(trace, role, level)]
    return found


def _silent(role: str) -> list[TraceRefusal]:
    """A hold, a battery or a relay may be quiet; a pull that shows nothing is worth a word."""
    if not role.startswith("pull"):
        return []
    return [TraceRefusal(
        role, f"Nothing in {role} stands out of its noise.",
        "Make sure that the clamp is on the pull wire and zeroed, and that the pull was commanded "
        "while it recorded. If it was, write down 0 for the check by hand.",
    )]  # fmt: skip


def _spoiled(trace: Trace, role: str, level: Level) -> Iterator[tuple[str, str]]:
    on_before = not level.begun or abs(level.base) > abs(level.top)
    if on_before and role.startswith("pull"):
        yield "The pull is on where the recording begins.", "Start the recorder before the command."
    if any(level.first - 1 <= at <= level.last + 1 for at, _ in trace.gaps):
        yield ("Samples are missing within the pull.",
               "Record fewer channels or more slowly, so that the recorder keeps up.")  # fmt: skip
    if role.startswith("pull") and _clipped(trace.channels[role], level, trace.step):
        yield ("It is cut off flat at the top of the range.",
               "Take the next larger range of the clamp or the recorder.")  # fmt: skip
    if role == "pull-current" and _alternating(trace, level):
        yield ("It sags in the pull and swings below zero after it: the clamp or the recorder's "
               "input passes no direct current.",
               "Use a clamp for direct current and an input coupled for it.")  # fmt: skip
    hertz, amplitude = hum_of(trace, level, role)
    if amplitude > MOST_HUM * abs(level.height):
        yield (f"A hum of {hertz:.0f} Hz covers it.",
               "Take the charger off the mains, keep leads together and away from it.")  # fmt: skip


def _clipped(values: Samples, level: Level, step: float) -> bool:
    """Tell a cut-off top: equal samples at the top that a current reaches without slowing down."""
    pulse = values[level.first : level.last]
    top = pulse.max() if level.height > 0 else pulse.min()
    if np.count_nonzero(pulse == top) < max(8, 0.2 * len(pulse)) or len(pulse) < 20:
        return False
    around = values[max(0, level.first - round(0.05 / step)) : level.last]
    rising = np.abs(around - level.base)
    high = abs(float(top) - level.base)
    levels = np.unique(around[:MOST_LEVELS])
    if len(levels) > 1 and float(np.diff(levels).min()) > COARSE * high:
        return False  # so few levels that any current stands on its last one
    at = [int(np.argmax(rising >= share * high)) for share in (0.4, 0.8, 0.995)]
    return at[1] - at[0] >= 2 and at[2] - at[1] < 0.9 * (at[1] - at[0])


def _alternating(trace: Trace, level: Level) -> bool:
    """Tell a clamp that passes no direct current by what it shows once the pull has ended."""
    values = trace.channels["pull-current"]
    after = means(values[level.last :], max(1, round(0.02 / trace.step)))
    if not len(after) or not level.ended:
        return False
    swung = float(np.min((after - level.base) / level.height))
    size = max(1, (level.last - level.first) // 10)
    pieces = means(values[level.first : level.last], size) - level.base
    droops = float(pieces[-1]) / float(np.max(np.abs(pieces))) * np.sign(level.height)
    return bool(swung < -AC_SHARE and droops < 1 - AC_SHARE)


def _swapped(levels: Mapping[str, Level], trace: Trace) -> Iterator[TraceRefusal]:
    """Tell columns that stand for each other: the pull takes some ten times the hold's current."""
    pull, hold, volts = map(levels.get, ("pull-current", "hold-current", "pull-volts"))
    if pull and hold and abs(hold.height) > 3 * max(abs(pull.height), 1.0):
        why = "The hold takes more than the pull: the two are swapped."
        yield from (TraceRefusal(one, why, _AGAIN) for one in ("pull-current", "hold-current"))
    if not (pull and volts):
        return
    if _rise(trace, "pull-volts", volts) > 5 * _rise(trace, "pull-current", pull):
        why = "The current jumps and the volts creep: the two columns are swapped."
        yield from (TraceRefusal(one, why, _AGAIN) for one in ("pull-current", "pull-volts"))


def _rise(trace: Trace, role: str, level: Level) -> float:
    """Return the seconds from a tenth to nine tenths of the level, at least two samples."""
    start = max(0, level.first - round(0.03 / trace.step))
    share = (trace.channels[role][start : level.last] - level.base) / level.height
    low, high = int(np.argmax(share > 0.2)), int(np.argmax(share > 0.8))
    return max(high - low, 2) * trace.step
