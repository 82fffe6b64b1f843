"""Where the wires run: cells stand in columns and rows, wires in the channels and gutters between.

Channel n lies above row n. A point of the circuit whose ends lie in one channel is one line along
it; one whose ends lie in several has an upright besides, on the axis of a column where nothing
stands in its way, else in the gutter to the left of a column. Labels never stand in either.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from api.drawing.diagram import Drawn

GUTTER = 0.4  # how far left of a column's axis its gutter counts, in columns


@dataclass(frozen=True)
class End:
    """An end of a part: its column, the channel it opens into, and whether it hangs below it."""

    column: int
    channel: int
    below: bool
    part: str


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

    def reach(self, channel: int) -> tuple[float, float]:
        """Return from where to where it runs along a channel, in columns."""
        places = [float(end.column) for end in self.ends if end.channel == channel]
        if self.axis is not None:
            places.append(float(self.axis))
        if self.gutter is not None:
            places.append(self.gutter - GUTTER)
        return min(places), max(places)

    def lies_in(self, channel: int) -> bool:
        """Return whether it has a line along a channel (and does not just come straight down)."""
        if channel not in self.channels:
            return False
        start, end = self.reach(channel)
        return start != end


@dataclass(frozen=True)
class Routes:
    """All wires, how many lines each channel holds and how many uprights each gutter."""

    nets: tuple[Net, ...]
    lines: Mapping[int, int]
    uprights: Mapping[int, int]


def route(parts: Sequence[Drawn], columns: int) -> Routes:
    """Lay the wires between parts whose columns and rows are counted from 0."""
    nets = _nets(parts)
    filled = {(part.column, part.row) for part in parts}
    on_axes: dict[int, list[tuple[int, int]]] = {}
    for net in sorted(nets, key=_straight_and_short_first):
        if len(net.channels) > 1:
            _raise_upright(net, filled, on_axes, columns)
    uprights = _share_gutters(nets)
    rows = 1 + max(part.row for part in parts)
    lines = {channel: _share_channel(nets, channel) for channel in range(rows + 1)}
    return Routes(tuple(nets), lines, uprights)


def _nets(parts: Sequence[Drawn]) -> list[Net]:
    nets: dict[str, Net] = {}
    for part in parts:
        above = End(part.column, part.row, True, part.id)
        below = End(part.column, part.row + 1, False, part.id)
        for node, end in ((part.top, above), (part.bottom, below)):
            nets.setdefault(node, Net(node, [])).ends.append(end)
    return list(nets.values())


def _straight_and_short_first(net: Net) -> tuple[bool, int, str]:
    first, last = net.span
    return len({end.column for end in net.ends}) > 1, last - first, net.node


def _raise_upright(
    net: Net, filled: set[tuple[int, int]], on_axes: dict[int, list[tuple[int, int]]], columns: int
) -> None:
    """Choose where a wire's upright stands: where its lines along the channels are shortest."""
    first, last = net.span
    choices: list[tuple[float, int, int | None, int | None]] = []
    for column in range(columns):
        free = not any((column, row) in filled for row in range(first, last))
        apart = all(last < start or end < first for start, end in on_axes.get(column, ()))
        if free and apart:
            choices.append((_length(net, float(column)), column, column, None))
    choices += [
        (0.3 + _length(net, column - GUTTER), column, None, column) for column in range(columns + 1)
    ]
    _, _, net.axis, net.gutter = min(choices, key=lambda one: (round(one[0], 6), one[1]))
    if net.axis is not None:
        on_axes.setdefault(net.axis, []).append((first, last))


def _length(net: Net, upright: float) -> float:
    """Return the length of a wire's lines along the channels with its upright there."""
    total = 0.0
    for channel in net.channels:
        places = [float(end.column) for end in net.ends if end.channel == channel] + [upright]
        total += max(places) - min(places)
    return total


def _share_gutters(nets: Sequence[Net]) -> dict[int, int]:
    """Give uprights in one gutter places of their own; return how many places each needs."""
    taken: dict[int, list[list[tuple[int, int]]]] = {}
    for net in sorted(nets, key=lambda one: (one.span, one.node)):
        if net.gutter is not None:
            places = taken.setdefault(net.gutter, [])
            net.track = _first_free(places, net.span)
            places[net.track].append(net.span)
    return {gutter: len(places) for gutter, places in taken.items()}


def _first_free(places: list[list[tuple[int, int]]], span: tuple[int, int]) -> int:
    """Return the first place where nothing overlaps the span; a new one where none is free."""
    for number, spans in enumerate(places):
        if all(span[1] < start or end < span[0] for start, end in spans):
            return number
    places.append([])
    return len(places) - 1


def _share_channel(nets: Sequence[Net], channel: int) -> int:
    """Give the wires along a channel lines of their own; return how many lines it needs.

    In each column what comes from above keeps above what goes on below, so that they never touch.
    """
    here = [net for net in nets if net.lies_in(channel)]
    before = {net.node: _must_be_above(net, here, channel) for net in here}
    lines: list[list[tuple[float, float]]] = []
    placed: dict[str, int] = {}
    while waiting := [net for net in here if net.node not in placed]:
        ready = [one for one in waiting if before[one.node] <= placed.keys()] or waiting[:1]
        net = min(ready, key=lambda one: (one.reach(channel), one.node))
        start = max((placed[one] + 1 for one in before[net.node] if one in placed), default=0)
        placed[net.node] = _lowest_line(lines, net.reach(channel), start)
    for net in here:
        net.tracks[channel] = placed[net.node]
    return len(lines)


def _must_be_above(net: Net, here: Sequence[Net], channel: int) -> set[str]:
    """Return the wires of the channel that come from above where this one goes on below."""
    mine = _columns(net, channel, below=True)
    return {
        other.node for other in here
        if other is not net and mine & _columns(other, channel, below=False)
    }  # fmt: skip


def _columns(net: Net, channel: int, below: bool) -> set[int]:
    """Return the columns on whose axis a wire leaves the channel downward (or upward)."""
    found = {end.column for end in net.ends if end.channel == channel and end.below == below}
    if net.axis is not None and channel in net.channels:
        first, last = net.span
        if channel < last if below else channel > first:
            found.add(net.axis)
    return found


def _lowest_line(
    lines: list[list[tuple[float, float]]], reach: tuple[float, float], start: int
) -> int:
    """Put a reach on the first line from ``start`` where it meets no other; return that line."""
    number = start
    while True:
        while len(lines) <= number:
            lines.append([])
        if all(reach[1] < a or b < reach[0] for a, b in lines[number]):
            lines[number].append(reach)
            return number
        number += 1


def compact(parts: Iterable[Drawn]) -> tuple[list[Drawn], int]:
    """Return the parts without empty columns and rows, and how many columns are left."""
    found = list(parts)
    columns = sorted({part.column for part in found})
    rows = sorted({part.row for part in found})
    return [
        replace(part, column=columns.index(part.column), row=rows.index(part.row))
        for part in found
    ], len(columns)  # fmt: skip
