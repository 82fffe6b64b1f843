"""What was read of a recording as one document, as a report, and as the curve of a plot.

And two of them beside each other: left and right, before and after, last year and today.
"""

import gzip
import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePath
from threading import Lock
from typing import BinaryIO, cast

import numpy as np

from api.answers.text import Line, Section
from api.recordings.reading import read_csv, read_wav
from api.strict_json import Json
from api.sums import step_cautions
from api.sums.model import Axis, Curve, CurveLine, neat, shown
from engine import Knowledge
from engine.answer.documents import Document
from engine.traces.findings import TraceFigure, TraceMark, TraceReport, read_trace
from engine.traces.quality import TraceRefusal
from engine.traces.trace import ROLES, Trace, channels_from, refused

READING = Lock()  # taken by a service: reading takes a processor, one at a time in a process
PLOTTED = 240  # pieces of a plot, each with its least and its most
# Of recording a pull, whatever is read of it: on some machines only a crank commands it.
# What kills comes first.
HAZARDS = ("releases-brake", "cranks", "energises", "plunger", "live")
SAME_AGAIN = 0.01  # share by which a good pull differs from the next: its warmth (judgement)
TOLD_APART = 2.0  # standard uncertainties: some 95 in 100 of equal pairs stay below (JCGM 100:2008)
MANUAL = "The machine maker's manual wins over this reading wherever the two differ."


@dataclass(frozen=True)
class TraceAnswer(Document):
    """What was read of a recording. ``findings`` go into a diagnosis request as they stand."""

    knowledge_version: str
    samples: int
    rate_hertz: float
    length_seconds: float
    channels: tuple[str, ...]
    findings: tuple[Json, ...]
    figures: tuple[TraceFigure, ...]
    refusals: tuple[TraceRefusal, ...]
    marks: tuple[TraceMark, ...]
    cautions: tuple[str, ...]
    curves: tuple[Curve, ...]


def read_file(stream: BinaryIO, name: str, words: str = "", rate: float | None = None) -> Trace:
    """Read a CSV text or a WAV sound, packed with gzip or not; the end of ``name`` says which.

    ``words`` are its channels, with commas between. What is packed is read as it unpacks, so that
    its size bounds nothing. Raises TraceError with the place of what is wrong.
    """
    channels = channels_from(words.split(",")) if words.strip() else ()
    endings = [one.lower() for one in PurePath(name).suffixes[-2:]]
    packed = endings[-1:] == [".gz"]
    opened = cast(BinaryIO, gzip.GzipFile(fileobj=stream)) if packed else stream
    try:
        if ".wav" in endings:
            return read_wav(opened, channels)
        return read_csv(opened, channels, rate)
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise refused("", "this gzip file is broken or cut off; pack it again") from error


def document(knowledge: Knowledge, trace: Trace, cranking: bool = False) -> Json:
    """Return the answer for a recording, ready to be written as JSON."""
    report = read_trace(trace, cranking)
    return TraceAnswer(
        knowledge_version=knowledge.version, samples=trace.size,
        rate_hertz=neat(1 / trace.step), channels=tuple(trace.channels),
        length_seconds=neat(trace.seconds(trace.size) - trace.start),
        findings=tuple(one.request(knowledge) for one in report.findings),
        figures=neat(report.figures), refusals=tuple(report.refusals), marks=neat(report.marks),
        cautions=cautions(knowledge), curves=neat(_curves(trace, report)),
    ).to_dict()  # fmt: skip


def cautions(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the cautions of recording a pull, on whichever machine, what kills first."""
    said = (text for one in HAZARDS for text in step_cautions(knowledge, frozenset({one})))
    return (*dict.fromkeys(said), MANUAL)


def _curves(trace: Trace, report: TraceReport) -> tuple[Curve, ...]:
    """Return a curve a channel around the pull, that of the pull's current first with its fit."""
    near = [mark.seconds for mark in report.marks] + [at for at, _ in report.model]
    start, end = (min(near) - 0.05, max(near) + 0.15) if near else (-np.inf, np.inf)
    first, last = trace.index(max(start, trace.start)), trace.index(end)
    found = []
    for role in sorted(trace.channels, key=list(ROLES).index):
        lines = [CurveLine("recorded", _thinned(trace, role, first, last))]
        if report.model and role == "pull-current":
            lines.append(CurveLine("fitted", report.model))
        name = role.replace("-", " ")
        found.append(Curve(Axis("time", "s"), Axis(name, ROLES[role]), tuple(lines)))
    return tuple(found)


def _thinned(trace: Trace, role: str, first: int, last: int) -> tuple[tuple[float, float], ...]:
    """Return least and most of each piece, so that no spike is lost in a plot."""
    values = trace.channels[role][first:last]
    size = max(1, len(values) // PLOTTED)
    places: list[int] = []
    for start in range(0, len(values), size):
        piece = values[start : start + size]
        places += sorted({start + int(piece.argmin()), start + int(piece.argmax())})
    return tuple((trace.seconds(first + at), float(values[at])) for at in places)


def sections(answer: Json) -> list[Section]:
    """Return the report: findings, dangers, what cannot be told, figures."""
    findings = [Line(found_words(one), lead=f"{one['check']}:") for one in answer["findings"]]
    refused = [
        Line(f"{one['because']} {one['instead']}", lead=f"{one['about']}:")
        for one in answer["refusals"]
    ]
    figures = [Line(_value(one), lead=f"{one['name']}:") for one in answer["figures"]]
    about = f"{answer['samples']} samples at {shown(answer['rate_hertz'])} a second."
    return [
        Section("Read from the recording", [Line(about), *findings]),
        Section("Mind", [Line(text, lead="!") for text in answer["cautions"]]),
        Section("What it cannot tell", refused or [Line("Nothing was refused.")]),
        Section("Figures", figures),
    ]


def found_words(finding: Json) -> str:
    """Return what was found for a check; of a reading how far off it may be, its clamp and all."""
    if "outcome" in finding:
        return str(finding["outcome"]).replace("-", " ")
    meter, value = finding["meter"], float(finding["value"])
    doubt = abs(value) * meter["percent"] / 100 + meter["counts"] * meter["resolution"]
    return _with_doubt(value, finding["unit"], doubt)


def _value(one: Json) -> str:
    if isinstance(one["value"], str):
        return one["value"].replace("-", " ")
    return _with_doubt(one["value"], one["unit"], one["uncertainty"])


def _with_doubt(value: float, unit: str, doubt: float | None) -> str:
    said = f"{shown(value)} {unit}".rstrip()
    return f"{said} (+-{shown(doubt, 2)})" if doubt else said


@dataclass(frozen=True)
class TraceChange(Document):
    """One thing read from both recordings; without numbers ``difference`` is None.

    ``uncertainty`` is the standard uncertainty of the difference, both readings' and what a pull
    differs from the next by.
    """

    name: str
    first: float | str
    second: float | str
    unit: str
    difference: float | None
    uncertainty: float | None
    changed: bool


def changes(first: Json, second: Json) -> list[TraceChange]:
    """Return what two answers have in common, as the first has it in order, and what changed."""
    mine, other = dict(_read(first)), dict(_read(second))
    found = []
    for name, (one, unit, u_one) in mine.items():
        if name not in other:
            continue
        two, _, u_two = other[name]
        if isinstance(one, str) or isinstance(two, str):
            found.append(TraceChange(name, one, two, unit, None, None, one != two))
            continue
        spread = SAME_AGAIN * max(abs(one), abs(two))
        doubt, apart = math.sqrt(u_one**2 + u_two**2 + spread**2), two - one
        told = abs(apart) > TOLD_APART * doubt
        found.append(TraceChange(name, one, two, unit, neat(apart), neat(doubt), told))
    return found


def _read(answer: Json) -> Iterator[tuple[str, tuple[float | str, str, float]]]:
    """Yield what was read by its name: value, unit, standard uncertainty."""
    for one in answer["findings"]:
        if "outcome" in one:
            yield one["check"], (found_words(one), "", 0.0)
        else:
            doubt = one["meter"]["resolution"] / math.sqrt(3)
            yield one["check"], (float(one["value"]), one["unit"], doubt)
    for one in answer["figures"]:
        yield one["name"], (one["value"], one["unit"], one["uncertainty"] or 0.0)


def comparison(first: Json, second: Json) -> Section:
    """Return what changed from one recording to the other, as a part of the report."""
    found = changes(first, second)
    lines = [Line(_change_words(one), lead=f"{one.name}:") for one in found if one.changed]
    same = ", ".join(one.name for one in found if not one.changed)
    kept = [Line(f"{same}.", lead="No more apart than one pull from the next:")] if same else []
    return Section("Changed from the first to the second", [*(lines or [Line("Nothing.")]), *kept])


def _change_words(one: TraceChange) -> str:
    if one.difference is None or one.uncertainty is None:
        return f"{one.first} before, {one.second} now."
    sign = "+" if one.difference > 0 else "-"
    return (
        f"{shown(float(one.first))} before, {shown(float(one.second))} {one.unit} now: "
        f"{sign}{shown(abs(one.difference), 3)} (+-{shown(TOLD_APART * one.uncertainty, 2)})."
    )
