"""What a recording tells: findings for checks of the knowledge base, figures, and refusals."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from engine.knowledge import Knowledge
from engine.traces import quality, winding
from engine.traces.hold import Hold, hold_of
from engine.traces.pull import (
    Level,
    Pulled,
    end_of_current,
    first_sign,
    fitted,
    level_of,
    time_left,
)
from engine.traces.quality import TraceRefusal
from engine.traces.trace import Trace

AFTER_SECONDS = 5.0  # after the command, as the checks of what is left have it
# As the checks of recordings have it in words (kb/checks): judgement, with their sources there.
LATE_SEAT, LATE_CONTACT = 0.25, 0.025  # s
MOST_BOUNCES, BOUNCING = 5, 0.03  # within so many s; a break after them is chatter
CLOSED = 1.35  # times the open gap's L: between no way at all and the stop (judgement)
PERCENT = 2.0  # of a reading, that a cheap recorder with its clamp or divider is off by (judgement)
TIMED = 0.01  # s: a length that is known no better is not given
KICKED = -25.0  # V below zero that no clamp lets a kick reach (judgement)
KICK_STEP = 5e-5  # s between samples: a kick that slower ones do not see may have been


@dataclass(frozen=True)
class TraceFinding:
    """A reading for a check: value in its unit, with a standard uncertainty that the fit gives.

    Of a check that has outcomes it is ``outcome``, and there is no value.
    """

    check: str
    value: float
    unit: str
    uncertainty: float
    says: str
    outcome: str = ""

    def request(self, knowledge: Knowledge) -> dict[str, Any]:
        """Return it as a diagnosis request takes it, the recorder's percent and its zero added."""
        note = f"Read from a recording: {self.says}"
        if self.outcome:
            return {"check": self.check, "outcome": self.outcome, "note": note}
        percent, zero = (0.0, 0.0) if self.unit == "s" else (PERCENT, _zero(knowledge, self.check))
        resolution = max(float(f"{np.sqrt(3) * self.uncertainty:.2g}"), zero, 1e-6)
        return {
            "check": self.check, "unit": self.unit,
            "value": float(f"{self.value:.4g}") if abs(self.value) > zero else 0.0,
            "meter": {"percent": percent, "counts": 1, "resolution": resolution},
            "note": note,
        }  # fmt: skip


def _zero(knowledge: Knowledge, check: str) -> float:
    """Return how far off zero a check's usual meter may be: a recorder is no better."""
    reading = knowledge.checks[check].reading
    row = knowledge.rows("instruments")[reading.instrument] if reading else {}
    return float(row.get("counts", 0)) * float(row.get("resolution", 0.0))


@dataclass(frozen=True)
class TraceFigure:
    """Something read that no check asks about; ``value`` is a number or a word."""

    id: str
    name: str
    value: float | str
    unit: str = ""
    uncertainty: float | None = None


@dataclass(frozen=True)
class TraceMark:
    """A moment of the recording, in its own seconds, and the value there."""

    name: str
    seconds: float
    value: float


@dataclass
class TraceReport:
    """All that a recording tells, in the order in which it is read."""

    findings: list[TraceFinding] = field(default_factory=list)
    figures: list[TraceFigure] = field(default_factory=list)
    refusals: list[TraceRefusal] = field(default_factory=list)
    marks: list[TraceMark] = field(default_factory=list)
    model: tuple[tuple[float, float], ...] = ()


@dataclass(kw_only=True)
class _Reading(TraceReport):
    """The recording and what has been read of it so far."""

    trace: Trace
    cranking: bool
    levels: dict[str, Level]
    spoiled: frozenset[str] = frozenset()
    pulled: Pulled | None = None
    begun: float | None = None
    ended: float | None = None

    def pulse(self, role: str) -> Level | None:
        """Return the pulse of a channel that is whole enough to be read."""
        return None if role in self.spoiled else self.levels.get(role)

    def find(self, check: str, value: float, unit: str, uncertainty: float, says: str) -> None:
        self.findings.append(TraceFinding(check, value, unit, uncertainty, says))

    def tell(self, check: str, outcome: str, says: str) -> None:
        self.findings.append(TraceFinding(check, 0.0, "", 0.0, says, outcome))

    def figure(self, id_: str, name: str, value: float | str, unit: str = "",
               uncertainty: float | None = None) -> None:  # fmt: skip
        self.figures.append(TraceFigure(id_, name, value, unit, uncertainty))


def read_trace(trace: Trace, cranking: bool = False) -> TraceReport:
    """Return what a recording tells; ``cranking`` says that the starter turned meanwhile."""
    levels = {role: level for role in trace.channels if (level := level_of(trace, role))}
    reading = _Reading(trace=trace, cranking=cranking, levels=levels)
    reading.refusals += quality.refusals(trace, levels)
    reading.spoiled = frozenset(one.about for one in reading.refusals)
    for step in (_pull_current, _pull_length, _volts, _supply, _contact, _hold):
        step(reading)
    reading.model = reading.pulled.curve() if reading.pulled else ()
    return reading


def _pull_current(reading: _Reading) -> None:
    current = reading.pulse("pull-current")
    volts = reading.pulse("pull-volts")
    if current is None or not current.begun:
        return
    pulled = reading.pulled = fitted(reading.trace, current, volts)
    fit = pulled.fit
    reading.begun = pulled.origin + fit.onset
    if volts is None:
        reading.begun = first_sign(reading.trace, current, reading.begun)
    if fit.settled:
        reading.find("pull-current", fit.amperes, "A", fit.amperes_u, "settled level of the pull")
        if volts:
            _ohms(reading, volts, pulled)
    else:
        reading.refusals.append(quality.UNSETTLED)
    _plunger(reading, pulled)


def _ohms(reading: _Reading, volts: Level, pulled: Pulled) -> None:
    """Tell ohms from the pull pin to the black lead, hot as they are, L open and L seated."""
    fit = pulled.fit
    ohms = volts.height / fit.amperes
    doubt = ohms * np.hypot(fit.amperes_u / fit.amperes, 0.02)
    reading.figure("pull_path_ohms", "Pull winding with its ground, as warm as it was", ohms,
                   "ohm", float(doubt))  # fmt: skip
    reading.figure("open_henry", "Inductance before the plunger moves", fit.tau_open * ohms, "H")
    if fit.moved:
        reading.figure("seated_henry", "Inductance when seated", fit.tau_seated * ohms, "H")
    _at_the_end(reading, volts, ohms)


def _at_the_end(reading: _Reading, volts: Level, ohms: float) -> None:
    """Tell by L where the plunger is as the pull ends: it may have seated and fallen back."""
    assert reading.pulled
    trace, fit, current = reading.trace, reading.pulled.fit, reading.levels["pull-current"]
    after = trace.channels["pull-volts"][volts.last :]
    if not volts.ended or not current.ended or float(after.min()) - volts.base < KICKED:
        return  # a kick that leaves the recorder's range takes an unknown share of the flux
    left, doubt = time_left(trace, current, volts)
    reading.figure("end_henry", "Inductance as the pull ends", left * ohms, "H", doubt * ohms)
    if abs(left / fit.tau_open - CLOSED) > 3 * doubt / fit.tau_open:
        word = "seated" if left > CLOSED * fit.tau_open else "not-seated"
        reading.figure("plunger_end", "Plunger as the pull ends", word)


def _plunger(reading: _Reading, pulled: Pulled) -> None:
    fit, trace = pulled.fit, reading.trace
    word = {True: "seated", False: "not-seated", None: "cannot-tell"}[fit.moved]
    reading.figure("plunger", "Plunger", word)
    if fit.moved:
        lag = trace.lag("pull-current")
        took = pulled.origin + fit.seats - (reading.begun or 0.0) - lag
        late = "seats-late" if took > LATE_SEAT else "seats"
        reading.tell("plunger-recorded", late, "notch in the rising current")
        reading.figure("seat_seconds", "From the contact to the seat", took, "s",
                       float(np.hypot(fit.seats_u, 0.001)))  # fmt: skip
        reading.figure("notch_amperes", "Notch that the moving plunger cut", fit.depth, "A")
        reading.marks.append(TraceMark("seated", pulled.origin + fit.seats, fit.at_seat))
    elif fit.moved is False:
        reading.tell("plunger-recorded", "does-not-seat", "no notch in the rising current")
    else:
        reading.refusals.append(
            quality.TOO_SLOW if trace.step > winding.SLOWEST else quality.TOO_NOISY
        )


def _pull_length(reading: _Reading) -> None:
    """Tell how long the pin was live: by its volts where they are there, else by the current."""
    trace, volts = reading.trace, reading.pulse("pull-volts")
    current = reading.pulse("pull-current")
    one = volts or current
    if one is None or not one.begun:
        return
    if volts:
        reading.begun, doubt = trace.seconds(volts.first), trace.step
    if reading.begun is None:
        return
    if not one.ended:
        reading.refusals.append(quality.STILL_ON)
        return
    if volts:
        reading.ended = trace.seconds(volts.last + 1)
    elif current and reading.pulled:
        end, doubt = end_of_current(trace, current, reading.pulled.fit.tau_seated)
        reading.ended = end - trace.lag("pull-current")
    reading.marks.insert(0, TraceMark("pull begins", reading.begun, one.base))
    if reading.ended is not None and doubt < TIMED:
        reading.find("pull-pulse-seconds", reading.ended - reading.begun, "s",
                     float(np.hypot(doubt, 0.0005)), "from contact to contact")  # fmt: skip
        reading.marks.append(TraceMark("pull ends", reading.ended, one.top))


def _volts(reading: _Reading) -> None:
    trace, volts = reading.trace, reading.pulse("pull-volts")
    if volts is None:
        return
    if volts.begun:
        doubt = volts.noise / np.sqrt(max(volts.last - volts.first, 1)) + 0.01
        reading.find("pull-pin-voltage", volts.top, "V", doubt, "level while the pull is on")
    if reading.begun is None:
        return
    left = trace.between("pull-volts", reading.begun + AFTER_SECONDS - 1, reading.begun + 8)
    if len(left) * trace.step < 0.5:
        reading.refusals.append(quality.TOO_SHORT)
    else:
        value = float(np.median(left))
        reading.find("pull-pin-voltage-after", value, "V", 0.02, "five seconds after the command")


def _supply(reading: _Reading) -> None:
    """Tell what the battery had in the pull, and how far it sagged from before."""
    trace = reading.trace
    if (
        "battery-volts" not in trace.channels
        or reading.begun is None
        or "battery-volts" in reading.spoiled
    ):
        return
    until = reading.ended or reading.begun + 0.5
    before = trace.between("battery-volts", trace.start, reading.begun - 0.005)
    within = trace.between("battery-volts", reading.begun + 0.6 * (until - reading.begun), until)
    if len(within) < 5:
        return
    level = float(np.median(within))
    if len(before) >= 5:
        reading.figure(
            "sag_volts", "Battery's sag in the pull", float(np.median(before)) - level, "V"
        )
    if reading.cranking:
        reading.find("battery-voltage-crank", level, "V", float(np.std(within)) / 5 + 0.02,
                     "steady level while cranking")  # fmt: skip


def _contact(reading: _Reading) -> None:
    """Tell the relay's delay, its bounces, and whether anything clamps the coil's kick."""
    trace, volts = reading.trace, reading.pulse("pull-volts")
    relay = reading.pulse("relay-volts")
    if relay is not None and relay.begun and reading.begun is not None:
        delay = reading.begun - trace.seconds(relay.first)
        reading.figure("relay_delay_seconds", "Relay coil to contact", delay, "s", trace.step)
        if abs(delay - LATE_CONTACT) > trace.step and delay > -trace.step:
            word = "late" if delay > LATE_CONTACT else "prompt"
            reading.tell("relay-recorded", word, "from the relay's coil to the pull pin")
    if volts is None or not volts.begun:
        return
    if trace.step > 2.5e-4:
        reading.refusals.append(quality.NO_BOUNCE)
        return
    whole = trace.channels["pull-volts"][volts.first : volts.last + 1]
    half = volts.base + volts.height / 2
    at = np.flatnonzero((whole[1:] < half) & (whole[:-1] >= half))
    early = int(np.count_nonzero(at < BOUNCING / trace.step))
    reading.figure("bounces", "Times that the contact opened again", float(len(at)))
    chatters = early > MOST_BOUNCES or len(at) > early
    word = "chatters" if chatters else "bounces" if early else "clean"
    reading.tell("contact-recorded", word, "breaks of the volts at the pull pin")
    if volts.ended:
        _kick(reading, volts)


def _kick(reading: _Reading, volts: Level) -> None:
    """Tell how far below zero the pin swings as the contact opens: a clamp keeps it near."""
    step = reading.trace.step
    after = reading.trace.channels["pull-volts"][volts.last : volts.last + round(0.02 / step)]
    low = float(after.min()) - volts.base if len(after) else 0.0
    word = "not-clamped" if low < KICKED else "clamped" if step <= KICK_STEP else "cannot-tell"
    reading.figure("kick", "Kick of the coil as the pull ends", word)
    if word != "cannot-tell":
        reading.tell("kick-recorded", word, "volts at the pull pin as the pull ends")


def _hold(reading: _Reading) -> None:
    ended = reading.ended
    if ended is None:
        return
    for role in ("hold-current", "hold-volts"):
        if role in reading.spoiled or role not in reading.trace.channels:
            continue
        found = hold_of(reading.trace, role, ended + 0.05, reading.levels.get(role))
        if found is None:
            reading.refusals.append(quality.NO_HOLD)
            continue
        if role == "hold-current":
            reading.find("hold-current", found.average, "A", found.uncertainty, found.says)
        _drive(reading, role, found)


def _drive(reading: _Reading, role: str, found: Hold) -> None:
    name = role.replace("-", "_")
    reading.figure(f"{name}_drive", "Hold is fed", found.drive)
    told = {one.check for one in reading.findings}
    if found.drive in ("steady", "chopped") and "hold-recorded" not in told:
        reading.tell("hold-recorded", found.drive, f"{role.replace('-', ' ')} after the pull")
    reading.figure(f"{name}_average", "Average of the hold", found.average, found.unit)
    if found.drive == "chopped":
        reading.figure(f"{name}_hertz", "Chopped at", found.hertz, "Hz")
        reading.figure(f"{name}_duty", "Share of the time that it is on", found.duty)
