"""A recording as a picture: a panel a channel, the fit over the pull's, marks down all of them.

It wears the style of the circuit drawings (``drawing.css``): light, dark, and black on paper, where
its width of WIDTH pixels is that of a page. Thickness and dashes tell the lines apart.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from api.answers.text import templates, xml_text
from api.drawing import stylesheet
from api.strict_json import Json
from api.sums.model import shown
from api.sums.plot import LETTER, PlotAxis, describe

WIDTH = 560
LEFT, RIGHT = 52, 14
TOP, TALL, LOW, BETWEEN, FOOT = 26, 170, 76, 30, 62
_ROW = 15  # of the marks' words


@dataclass(frozen=True)
class Panel:
    """A channel's place in the picture, from its top to its bottom in pixels."""

    curve: Json
    top: float
    bottom: float

    @property
    def y(self) -> PlotAxis:
        """Return what puts its values into pixels."""
        values = [point[1] for line in self.curve["lines"] for point in line["points"]]
        return PlotAxis(values, "linear", self.bottom, self.top)


@dataclass(frozen=True)
class MarkLabel:
    """The words of a mark: where its line stands, and where they do."""

    x: float
    row: float
    words: str
    anchor: str


def picture(answer: Json, title: str, embed: bool = False) -> str:
    """Return the recording that an answer tells of as one SVG element.

    ``embed`` leaves the style sheet out, for a page that links to ``drawing.css``.
    """
    curves = answer["curves"]
    times = [point[0] for one in curves for line in one["lines"] for point in line["points"]]
    x = PlotAxis(times, "linear", LEFT, WIDTH - RIGHT)
    labels = list(_labels(answer["marks"], x))
    top = TOP + max((one.row for one in labels), default=0) + 22
    panels = [Panel(curves[0], top, top + TALL)]
    for curve in curves[1:]:
        upper = panels[-1].bottom + BETWEEN
        panels.append(Panel(curve, upper, upper + LOW))
    said = [*map(describe, curves), *(f"{_said(one)}." for one in answer["marks"])]
    drawn = templates("api", "recordings").get_template("trace.svg").render(
        title=title, panels=panels, x=x, labels=labels, width=WIDTH, left=LEFT, right=WIDTH - RIGHT,
        top=top, height=panels[-1].bottom + FOOT, letter=LETTER,
        stylesheet="" if embed else stylesheet(), description=" ".join(said),
    )  # fmt: skip
    return xml_text(drawn).strip()


def _said(mark: Json) -> str:
    return f"{mark['name']}: {shown(mark['seconds'], 3)} s"


def _labels(marks: Sequence[Json], x: PlotAxis) -> Iterator[MarkLabel]:
    """Yield the marks' words, each a row lower where it would touch the one before it."""
    ends: list[float] = []
    for mark in sorted(marks, key=lambda one: float(one["seconds"])):
        words = _said(mark)
        at, long = x(mark["seconds"]), len(words) * LETTER
        anchor = "end" if at + long > WIDTH else "start"
        start = at - long if anchor == "end" else at
        row = next((n for n, end in enumerate(ends) if end < start), len(ends))
        ends[row:row + 1] = [start + long + LETTER]  # fmt: skip
        yield MarkLabel(at, row * _ROW, words, anchor)
