"""Recordings of made-up machines put beside the truth, and the table of it.

``python -m tests.traces.score COUNT SEED`` draws machines, runs each through ngspice, records it
with a drawn recorder and prints how near the reading came.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from engine.traces.findings import TraceReport, read_trace
from engine.traces.trace import ChannelSetup, Trace
from tests.proving.measures import wilson
from tests.reference.ngspice import DeckError
from tests.traces.machines import (
    BEFORE,
    STEP,
    Recorder,
    Solenoid,
    Truth,
    draw,
    draw_recorder,
    record,
    solve,
)

HELD_OUT = 20261129  # the seed that nothing was tuned on
LOUD = 20.0  # dB


@dataclass(frozen=True)
class Score:
    """One machine: what was true and what was read; None where nothing was told."""

    machine: Solenoid
    recorder: Recorder
    truth: Truth
    report: TraceReport

    @property
    def decibels(self) -> float:
        """Return the settled current over the rms noise of a sample."""
        return float(-20 * np.log10(self.recorder.noise))

    @property
    def moved(self) -> str:
        """Return what was said of the plunger."""
        return str(self.figure("plunger") or "cannot-tell")

    def figure(self, name: str) -> float | str | None:
        """Return a figure of the report, None where it is not told."""
        return next((one.value for one in self.report.figures if one.id == name), None)

    def error(self, kind: str) -> float | None:
        """Return read less true: seat and length in s, ohms as a share."""
        if kind == "seat":
            read, true = self.figure("seat_seconds"), self.truth.seats
        elif kind == "ohms":
            read, true = self.figure("pull_path_ohms"), self.machine.ohms
            return None if read is None else float(read) / true - 1
        else:
            lengths = [o.value for o in self.report.findings if o.check == "pull-pulse-seconds"]
            read, true = (lengths[0] if lengths else None), self.machine.pulse
        return None if read is None or true is None else float(read) - true


def scores(count: int, seed: int) -> Iterator[Score]:
    """Yield ``count`` machines with what was read of each."""
    rng = np.random.default_rng(seed)
    done = 0
    while done < count:
        machine, recorder = draw(rng), draw_recorder(rng)
        try:
            truth = solve(machine)
        except DeckError:  # a machine that ngspice cannot solve says nothing
            continue
        done += 1
        yield Score(machine, recorder, truth, read_trace(recorded(truth, recorder, rng)))


def recorded(truth: Truth, how: Recorder, rng: np.random.Generator) -> Trace:
    """Return the trace of a recording; the clamp's bandwidth is told, as its box tells it."""
    step, amperes, volts = record(truth, how, rng)
    channels = {"pull-current": amperes.astype(np.float32)}
    if how.volts:
        channels["pull-volts"] = volts.astype(np.float32)
    setups = {"pull-current": ChannelSetup("pull-current", hertz=how.hertz)}
    return Trace(step, channels, setups)


def within(found: Sequence[Score], kind: str) -> tuple[int, int]:
    """Return how many errors of a kind are within the limit that the issue sets, of how many."""
    told = [(one, one.error(kind)) for one in found]
    limits = {
        "seat": lambda one: max(0.05 * one.truth.seats, 0.003),
        "length": lambda one: max(0.002, 2 / one.recorder.rate),
        "ohms": lambda _: 0.03,
    }
    errors = [(one, error) for one, error in told if error is not None]
    return sum(abs(error) <= limits[kind](one) for one, error in errors), len(errors)


def told(good: int, of: int) -> str:
    """Return a count of some with its 95 % interval (Wilson)."""
    low, high = wilson(good, of)
    return f"{good} of {of} ({low:.3f} to {high:.3f})"


@dataclass(frozen=True)
class Said:
    """What was said of the plungers of some machines, those left out that went part of the way."""

    of: int
    right: int
    silent: int
    false: int  # said to have seated, and did not


def said(found: Sequence[Score]) -> Said:
    """Count what was said of the plunger."""
    words = [(one.truth.moved, one.moved) for one in found if one.truth.moved is not None]
    return Said(
        len(words), sum(word == ("seated" if true else "not-seated") for true, word in words),
        sum(word == "cannot-tell" for _, word in words),
        sum(word == "seated" and not true for true, word in words),
    )  # fmt: skip


def ends(found: Sequence[Score]) -> tuple[int, int]:
    """Return how often the place as the pull ends was told right by the flux, of how often told."""
    right = of = 0
    for one in found:
        word = one.figure("plunger_end")
        place = float(one.truth.place[round((BEFORE + one.machine.pulse) / STEP)])
        if word is not None and (place > 0.9 or place < 0.1):
            of += 1
            right += (word == "seated") == (place > 0.9)
    return right, of


def table(found: Sequence[Score]) -> str:
    """Return the table that the page of measured figures has."""
    rows = [
        "signal to noise | machines | right | cannot tell | wrong | false 'moved'",
        "---|---|---|---|---|---",
    ]
    for low, high in ((0, 20), (20, 30), (30, 40), (40, 99)):
        one = said([one for one in found if low <= one.decibels < high])
        wrong = one.of - one.right - one.silent
        rows.append(f"{low} to {high} dB | {one.of} | {one.right} | {one.silent} | {wrong} "
                    f"| {one.false}")  # fmt: skip
    loud = [one for one in found if one.decibels >= LOUD]
    low_ones = [one for one in found if one.decibels < LOUD]
    rows.append(f"right, over 20 dB: {told(said(loud).right, said(loud).of)}")
    rows.append(f"false 'moved', of all: {told(said(found).false, said(found).of)}")
    right, of = ends(found)
    if of:
        rows.append(f"seated or not as the pull ends, by the flux: {told(right, of)}")
    for kind, words in (
        ("seat", "seat within 5 % or 3 ms"),
        ("length", "length within 2 ms or two samples"),
        ("ohms", "ohms within 3 %"),
    ):
        for name, some in (("over 20 dB", loud), ("below", low_ones)):
            good, all_ = within(some, kind)
            if all_:
                rows.append(f"{words}, {name}: {told(good, all_)}, of {len(some)}")
    return "\n".join(rows)


if __name__ == "__main__":
    print(table(list(scores(int(sys.argv[1]), int(sys.argv[2])))))
