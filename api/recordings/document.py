"""What was read of a recording as one document, as a report, and as the curve of a plot."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np

from api.answers.text import Line, Section
from api.recordings.reading import read_csv, read_wav
from api.strict_json import Json
from api.sums import MANUAL, step_cautions
from api.sums.model import Axis, Curve, CurveLine, CurveMark, shown, told
from engine import Knowledge
from engine.traces.findings import TraceFigure, TraceMark, TraceReport, read_trace
from engine.traces.quality import TraceRefusal
from engine.traces.trace import ROLES, Trace, channels_from

PLOTTED = 240  # pieces of a plot, each with its least and its most
HAZARDS = frozenset({"live", "energises"})  # of recording a pull, whatever is read of it


@dataclass(frozen=True)
class TraceAnswer:
    """What was read of a recording. ``findings`` go into a diagnosis request as they stand."""

    knowledge_version: str
    samples: int
    rate_hertz: float
    length_seconds: float
    channels: tuple[str, ...]
    findings: tuple[Mapping[str, Any], ...]
    figures: tuple[TraceFigure, ...]
    refusals: tuple[TraceRefusal, ...]
    marks: tuple[TraceMark, ...]
    cautions: tuple[str, ...]
    curve: Curve


def read_file(
    stream: BinaryIO, words: str, rate: float | None = None, sound: bool = False
) -> Trace:
    """Read a CSV text or a WAV sound; ``words`` are its channels, with commas between.

    Raises TraceError with the place of what is wrong.
    """
    channels = channels_from(words.split(",")) if words else ()
    return read_wav(stream, channels) if sound else read_csv(stream, channels, rate)


def document(knowledge: Knowledge, trace: Trace, cranking: bool = False) -> Json:
    """Return the answer for a recording, ready to be written as JSON."""
    report = read_trace(trace, cranking)
    hazards = HAZARDS | ({"cranks"} if cranking else frozenset())
    found = TraceAnswer(
        knowledge_version=knowledge.version, samples=trace.size, rate_hertz=1 / trace.step,
        length_seconds=trace.seconds(trace.size) - trace.start, channels=tuple(trace.channels),
        findings=tuple(one.request(knowledge) for one in report.findings),
        figures=report.figures, refusals=report.refusals, marks=report.marks,
        cautions=(*step_cautions(knowledge, hazards), MANUAL), curve=_curve(trace, report),
    )  # fmt: skip
    answer: Json = told(found) | {"findings": list(found.findings)}
    return answer


def _curve(trace: Trace, report: TraceReport) -> Curve:
    """Return the pull's current, or the first channel there is, with model and marks."""
    role = next(one for one in ("pull-current", *trace.channels) if one in trace.channels)
    near = [mark.seconds for mark in report.marks] + [at for at, _ in report.model]
    start, end = (min(near) - 0.05, max(near) + 0.15) if near else (-np.inf, np.inf)
    first, last = trace.index(max(start, trace.start)), trace.index(end)
    lines = [CurveLine("recorded", _thinned(trace, role, first, last))]
    if report.model:
        lines.append(CurveLine("fitted", report.model))
    marks = tuple(
        CurveMark(one.name, one.seconds, one.value)
        for one in report.marks if role.startswith("pull")
    )  # fmt: skip
    return Curve(Axis("time", "s"), Axis(role.replace("-", " "), ROLES[role]), tuple(lines), marks)


def _thinned(trace: Trace, role: str, first: int, last: int) -> tuple[tuple[float, float], ...]:
    """Return least and most of each piece, so that no spike is lost in a plot."""
    values = trace.channels[role][first:last]
    size = max(1, len(values) // PLOTTED)
    points = []
    for start in range(0, len(values), size):
        piece = values[start : start + size]
        for at in sorted({int(piece.argmin()), int(piece.argmax())}):
            points.append((trace.seconds(first + start + at), float(piece[at])))
    return tuple(points)


def sections(answer: Json) -> list[Section]:
    """Return the report: findings, what cannot be told, figures, dangers."""
    findings = [
        Line(f"{shown(one['value'])} {one['unit']} (+-{shown(one['meter']['resolution'], 2)})",
             lead=f"{one['check']}:")
        for one in answer["findings"]
    ]  # fmt: skip
    refused = [
        Line(f"{one['because']} {one['instead']}", lead=f"{one['about']}:")
        for one in answer["refusals"]
    ]
    figures = [Line(_value(one), lead=f"{one['name']}:") for one in answer["figures"]]
    about = f"{answer['samples']} samples at {shown(answer['rate_hertz'])} a second."
    return [
        Section("Read from the recording", [Line(about), *findings]),
        Section("What it cannot tell", refused or [Line("Nothing was refused.")]),
        Section("Figures", figures),
        Section("Mind", [Line(text, lead="!") for text in answer["cautions"]]),
    ]


def _value(one: Json) -> str:
    if isinstance(one["value"], str):
        return one["value"].replace("-", " ")
    unit = f" {one['unit']}" if one["unit"] else ""
    doubt = f" (+-{shown(one['uncertainty'], 2)})" if one["uncertainty"] else ""
    return f"{shown(one['value'])}{unit}{doubt}"
