"""The geometry of a drawing: from parts, wires and labels to pixels, with room for every text."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from api.drawing import text
from api.drawing.diagram import Diagram, Drawn
from api.drawing.routes import End, Net, route

WIDTHS = {"wide": 912.0, "tall": 360.0}
MARGIN = 8.0
HALF = 11.0  # half the width of the broadest symbol
LABEL_GAP = 20.0  # from the axis of a column to its labels
COLUMN_GAP = 5.0
UPRIGHT = 6.0  # between two uprights in a gutter
LINE_GAP = 10.0  # between two lines in a channel
ROW_HEIGHT = 40.0
MARK_WIDTH = 16.0
CHANNEL_TOP = 8.0
HEADER = 18.0  # room for the name of a frame


@dataclass(frozen=True)
class Label:
    """A piece of text and the mark before it (``good``, ``suspect``, ``red``, ``black``...)."""

    text: str
    style: str = "plain"
    mark: str = ""

    @property
    def bold(self) -> bool:
        """Return whether it is set in bold."""
        return self.style in ("name", "suspect", "probe", "head")


@dataclass(frozen=True, kw_only=True)
class SheetLine(Label):
    """One line of text where it stands; ``y`` is its base line."""

    x: float
    y: float

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Return left, top, right and bottom of what it covers, its mark included."""
        start = self.x - (MARK_WIDTH if self.mark else 0.0)
        end = self.x + text.width(self.text, bold=self.bold)
        return start, self.y - 10.0, end, self.y + 3.0


def set_lines(labels: Sequence[Label], x: float, y: float, room: float) -> list[SheetLine]:
    """Break labels into lines from ``y`` (their top) downward, each at most ``room`` wide."""
    lines: list[SheetLine] = []
    for label in labels:
        indent = MARK_WIDTH if label.mark else 0.0
        mark = label.mark
        for piece in text.wrap(text.joined(label.text), room - indent, bold=label.bold):
            base = y + 11.0 + text.LINE * len(lines)
            lines.append(SheetLine(piece, label.style, mark, x=x + indent, y=base))
            mark = ""
    return lines


@dataclass(frozen=True)
class Frame:
    """A box around parts that sit in one thing."""

    left: float
    top: float
    right: float
    bottom: float


Labels = Mapping[str, Sequence[Label]]


class Sheet:
    """Where everything stands, in pixels."""

    def __init__(
        self, diagram: Diagram, shape: str, part_labels: Labels, point_labels: Labels, top: float
    ) -> None:
        columns = sorted({part.column for part in diagram.parts})  # without empty ones
        rows = sorted({part.row for part in diagram.parts})
        self.parts = [
            replace(part, column=columns.index(part.column), row=rows.index(part.row))
            for part in diagram.parts
        ]
        self.columns = len(columns)
        self.routes = route(self.parts, self.columns)
        self.width = WIDTHS[shape]
        self._part_labels, self._point_labels = part_labels, point_labels
        faults = {part.id for part in self.parts if part.fault}
        self._anchors = {
            net.node: _anchor(net, diagram.points[net.node].anchor, faults)
            for net in self.routes.nets
        }
        self._framed: dict[str, list[Drawn]] = {}
        for part in self.parts:
            if part.frame:
                self._framed.setdefault(part.frame, []).append(part)
        self.lines: list[SheetLine] = []
        self.row_middle: dict[int, float] = {}
        self.row_edges: dict[int, tuple[float, float]] = {}
        self.line_height: dict[tuple[int, int], float] = {}
        self.spots: dict[str, tuple[float, float]] = {}  # where a point is marked and named
        self._set_columns()
        y = top
        for number in range(len(rows)):
            y = self._set_row(number, self._set_channel(number, y))
        self.bottom = self._set_channel(len(rows), y)
        self.frames = [
            self._frame(name, parts) for name, parts in self._framed.items()
            if not self._intruded(parts)
        ]  # fmt: skip

    def _rooms(self, room: float) -> list[float]:
        """Share the room for text: each column its longest word, then by how much it has to say."""
        much, longest = [1.0] * self.columns, [1.0] * self.columns
        said = [(part.column, self._part_labels.get(part.id, ())) for part in self.parts]
        said += [
            (end.column, self._point_labels.get(node, ())) for node, end in self._anchors.items()
        ]
        for column, labels in said:
            much[column] += sum(text.width(one.text, bold=one.bold) for one in labels)
            longest[column] = max([longest[column], *map(_longest, labels)])
        rest = room - sum(longest)
        if rest < 0:  # more uprights than there is room for: words are cut
            return [room * one / sum(longest) for one in longest]
        even = sum(much) / self.columns
        weights = [min(max(one / even, 0.5), 2.0) for one in much]
        return [
            need + rest * weight / sum(weights)
            for need, weight in zip(longest, weights, strict=True)
        ]

    def _set_columns(self) -> None:
        """Share the width among the columns; gutters take what their uprights need."""
        gutters = [UPRIGHT * self.routes.uprights.get(n, 0) for n in range(self.columns + 1)]
        free = self.width - 2 * MARGIN - sum(gutters)
        self.room = self._rooms(free - self.columns * (HALF + 2 + LABEL_GAP + COLUMN_GAP))
        self.axis: list[float] = []
        self._gutter = [MARGIN]
        for number, room in enumerate(self.room):
            self.axis.append(self._gutter[-1] + gutters[number] + HALF + 2)
            self._gutter.append(self.axis[-1] + LABEL_GAP + room + COLUMN_GAP)

    def upright(self, net: Net) -> float | None:
        """Return where a wire's upright stands, if it has one."""
        if net.axis is not None:
            return self.axis[net.axis]
        if net.gutter is not None:
            return self._gutter[net.gutter] + UPRIGHT * (net.track + 0.5)
        return None

    def _set_channel(self, channel: int, y: float) -> float:
        y += CHANNEL_TOP
        for number in range(self.routes.lines[channel]):
            self.line_height[channel, number] = y
            y += LINE_GAP
        depth = [y] * self.columns
        for net in self.routes.nets:
            end = self._anchors[net.node]
            if end.channel == channel:
                self._name_point(net, end, depth)
        y = max(depth)
        if any(channel == min(part.row for part in one) for one in self._framed.values()):
            self.line_height[channel, -1] = y  # where the name of a frame stands
            y += HEADER
        return y

    def _name_point(self, net: Net, end: End, depth: list[float]) -> None:
        """Write a point's labels under what stands in its column of the channel already."""
        axis, y = self.axis[end.column], depth[end.column]
        labels = self._point_labels.get(net.node, ())
        found = set_lines(labels, axis + LABEL_GAP, y, self.room[end.column])
        self.lines += found
        if end.below:
            height = y + 7.0
        elif net.lies_in(end.channel):
            height = self.line_height[end.channel, net.tracks[end.channel]]
        else:  # it leads on in words only: it ends before any line along the channel
            height = self.edge(end)
        self.spots[net.node] = (axis, height)
        depth[end.column] = y + max(text.LINE * len(found), text.LINE) + 2.0

    def _set_row(self, row: int, y: float) -> float:
        found = [
            set_lines(
                self._part_labels.get(part.id, ()), self.axis[part.column] + LABEL_GAP, 0.0,
                self.room[part.column],
            )
            for part in self.parts if part.row == row
        ]  # fmt: skip
        height = max([ROW_HEIGHT, *(text.LINE * len(one) + 4.0 for one in found)])
        for lines in found:
            lift = y + (height - text.LINE * len(lines)) / 2
            self.lines += [replace(line, y=line.y + lift) for line in lines]
        self.row_middle[row] = y + height / 2
        self.row_edges[row] = (y, y + height)
        return y + height

    def height(self, net: Net, channel: int) -> float:
        """Return how high a wire runs in a channel; where it has no line, the edge of its end."""
        if net.lies_in(channel):
            return self.line_height[channel, net.tracks[channel]]
        return self.edge(next(one for one in net.ends if one.channel == channel))

    def edge(self, end: End) -> float:
        """Return the edge of its row at which an end stands."""
        row, side = end.edge
        return self.row_edges[row][side]

    def _intruded(self, inside: Sequence[Drawn]) -> bool:
        """Return whether a box around some parts would also take in a part of something else."""
        columns, rows = [part.column for part in inside], [part.row for part in inside]
        return any(
            part not in inside
            and min(columns) <= part.column <= max(columns) and min(rows) <= part.row <= max(rows)
            for part in self.parts
        )  # fmt: skip

    def _frame(self, name: str, inside: Sequence[Drawn]) -> Frame:
        """Return the box around some parts, and write its name."""
        columns, rows = [part.column for part in inside], [part.row for part in inside]
        first, last = min(columns), max(columns)
        top = self.line_height[min(rows), -1] + 1
        text_at = self.axis[first] + LABEL_GAP
        self.lines.append(SheetLine(name.capitalize(), "soft", x=text_at, y=top + 13))
        right = self.axis[last] + LABEL_GAP + self.room[last] + 3
        return Frame(self.axis[first] - HALF - 3, top, right, self.row_edges[max(rows)][1] + 1)


def _longest(label: Label) -> float:
    """Return the width of a label's longest word, with its mark."""
    words = text.joined(label.text).split(" ")
    indent = MARK_WIDTH if label.mark else 0.0
    return indent + max(text.width(word, bold=label.bold) for word in words) + 0.5


def _anchor(net: Net, part: str, faults: set[str]) -> End:
    """Return the end at which a point is named: at its own part, else the lowest one below it."""
    named = [end for end in net.ends if end.part == part]
    sound = [end for end in net.ends if end.part not in faults]
    below = [end for end in sound if end.below]
    return max(named or below or sound or net.ends, key=lambda end: (end.channel, -end.column))
