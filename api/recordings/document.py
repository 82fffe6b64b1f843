"""What was read of a recording as one document, as a report, and as the curve of a plot."""

import gzip
import zlib
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
    return f"{shown(value)} {finding['unit']} (+-{shown(doubt, 2)})"


def _value(one: Json) -> str:
    if isinstance(one["value"], str):
        return one["value"].replace("-", " ")
    unit = f" {one['unit']}" if one["unit"] else ""
    doubt = f" (+-{shown(one['uncertainty'], 2)})" if one["uncertainty"] else ""
    return f"{shown(one['value'])}{unit}{doubt}"
