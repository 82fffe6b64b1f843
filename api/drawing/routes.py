"""Where the wires run: cells stand in columns and rows, wires in the channels and gutters between.

Channel n lies above row n. A point of the circuit whose ends lie in one channel is one line along
it; one whose ends lie in several has an upright besides, on the axis of a column where nothing
stands in its way, else in the gutter to the left of a column. Labels never stand in either.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from api.drawing.diagram import Drawn

GUTTER = 0.4  # how far left of a column's axis its gutter counts, in columns
Span = tuple[float, float]


@dataclass(frozen=True)
class End:
    """An end of a part: its column, the channel it opens into, and whether it hangs below it."""

    column: int
    channel: int
    below: bool
    part: str

    @property
    def edge(self) -> tuple[int, int]:
        """Return its row, and which edge of the row it stands at: 0 the top, 1 the bottom."""
        return (self.channel, 0) if self.below else (self.channel - 1, 1)


@dataclass
class Net:
    """A point of the circuit as a wire: its ends, and where its upright stands."""

    node: str
    ends: list[End]
    axis: int | None = None  # the column on whose axis the upright stands
    gutter: int | None = None  # or the column to the left of which it does
    track: int = 0  # which place in the gutter
    tracks: dict[int, int] = field(default_factory=dict)  # channel -> which line in it

    @property
    def channels(self) -> list[int]:
        """Return the channels into which its ends open."""
        return sorted({end.channel for end in self.ends})

    @property
    def span(self) -> tuple[int, int]:
        """Return the first and the last of its channels."""
        return self.channels[0], self.channels[-1]

    def reach(self, channel: int, upright: float | None = None) -> Span:
        """Return from where to where it runs along a channel, in columns.

        ``upright`` is where its upright may stand; left out, it is where it does.
        """
        if upright is None and self.gutter is not None:
            upright = self.gutter - GUTTER
        elif upright is None and self.axis is not None:
            upright = float(self.axis)
        places = [float(end.column) for end in self.ends if end.channel == channel]
        places += [] if upright is None else [upright]
        return min(places), max(places)

    def lies_in(self, channel: int) -> bool:
        """Return whether it has a line along a channel (and does not just come straight down)."""
        return channel in self.channels and len(set(self.reach(channel))) > 1

    def leaves(self, channel: int, below: bool) -> set[int]:
        """Return the columns on whose axis it leaves a channel downward (or upward)."""
        found = {end.column for end in self.ends if end.channel == channel and end.below == below}
        if self.axis is not None and channel in self.channels:
            first, last = self.span
            if channel < last if below else channel > first:
                found.add(self.axis)
        return found


@dataclass(frozen=True)
class Routes:
    """All wires, how many lines each channel holds and how many uprights each gutter."""

    nets: Sequence[Net]
    lines: dict[int, int]
    uprights: dict[int, int]


def route(parts: Sequence[Drawn], columns: int) -> Routes:
    """Lay the wires between parts whose columns and rows are counted from 0."""
    by_node: dict[str, Net] = {}
    for part in parts:
        above = End(part.column, part.row, True, part.id)
        below = End(part.column, part.row + 1, False, part.id)
        for node, end in ((part.top, above), (part.bottom, below)):
            by_node.setdefault(node, Net(node, [])).ends.append(end)
    nets = list(by_node.values())
    _raise_uprights(nets, {(part.column, part.row) for part in parts}, columns)
    uprights = _share_gutters(nets)
    rows = 1 + max(part.row for part in parts)
    return Routes(nets, {one: _share_channel(nets, one) for one in range(rows + 1)}, uprights)


def _raise_uprights(nets: Sequence[Net], filled: set[tuple[int, int]], columns: int) -> None:
    """Choose where each wire's upright stands: where its lines along the channels are shortest.

    Straight wires choose first, then short ones.
    """
    taken: dict[int, list[Span]] = {}  # on the axis of each column
    tall = [net for net in nets if len(net.channels) > 1]
    for net in sorted(tall, key=lambda one: (
        len({end.column for end in one.ends}) > 1, one.span[1] - one.span[0], one.node
    )):  # fmt: skip
        choices: list[tuple[float, int, int | None, int | None]] = [
            (_length(net, float(column)), column, column, None)
            for column in range(columns)
            if not any((column, row) in filled for row in range(*net.span))
            and _free(taken.get(column, ()), net.span)
        ]
        choices += [
            (0.3 + _length(net, column - GUTTER), column, None, column)
            for column in range(columns + 1)
        ]
        _, _, net.axis, net.gutter = min(choices, key=lambda one: (round(one[0], 6), one[1]))
        if net.axis is not None:
            taken.setdefault(net.axis, []).append(net.span)


def _length(net: Net, upright: float) -> float:
    """Return the length of a wire's lines along the channels with its upright there."""
    reaches = (net.reach(channel, upright) for channel in net.channels)
    return sum(end - start for start, end in reaches)


def _free(spans: Sequence[Span], span: Span) -> bool:
    return all(span[1] < start or end < span[0] for start, end in spans)


def _put(places: list[list[Span]], span: Span, start: int = 0) -> int:
    """Put a span on the first place from ``start`` where it meets no other; return that place."""
    number = start
    while True:
        while len(places) <= number:
            places.append([])
        if _free(places[number], span):
            places[number].append(span)
            return number
        number += 1


def _share_gutters(nets: Sequence[Net]) -> dict[int, int]:
    """Give uprights in one gutter places of their own; return how many places each needs."""
    taken: dict[int, list[list[Span]]] = {}
    for net in sorted(nets, key=lambda one: (one.span, one.node)):
        if net.gutter is not None:
            net.track = _put(taken.setdefault(net.gutter, []), net.span)
    return {gutter: len(places) for gutter, places in taken.items()}


def _share_channel(nets: Sequence[Net], channel: int) -> int:
    """Give the wires along a channel lines of their own; return how many lines it needs.

    In each column what comes from above keeps above what goes on below, so that they never touch.
    """
    here = [net for net in nets if net.lies_in(channel)]
    before = {
        net.node: {
            other.node for other in here
            if other is not net and net.leaves(channel, True) & other.leaves(channel, False)
        }
        for net in here
    }  # fmt: skip
    lines: list[list[Span]] = []
    placed: dict[str, int] = {}
    while waiting := [net for net in here if net.node not in placed]:
        ready = [one for one in waiting if before[one.node] <= placed.keys()] or waiting[:1]
        net = min(ready, key=lambda one: (one.reach(channel), one.node))
        start = max((placed[one] + 1 for one in before[net.node] if one in placed), default=0)
        placed[net.node] = net.tracks[channel] = _put(lines, net.reach(channel), start)
    return len(lines)
