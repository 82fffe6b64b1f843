"""From geometry to SVG: the template ``drawing.svg``, and the pieces of wire that it asks for."""

from collections.abc import Iterable, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment

from api.answers.text import templates, xml_text
from api.drawing.routes import End, Net
from api.drawing.sheet import Sheet

Place = tuple[float, float]
Segment = tuple[Place, Place]


def stylesheet() -> str:
    """Return ``drawing.css``, which a page with embedded drawings links to."""
    return files("api.drawing").joinpath("drawing.css").read_text(encoding="utf-8")


def render(**shown: Any) -> str:
    """Return the drawing as one SVG element."""
    return xml_text(_templates().get_template("drawing.svg").render(shown)).strip()


@cache
def _templates() -> Environment:
    made = templates("api", "drawing")
    made.filters |= {"n": number, "d": path_data}
    made.globals |= {"pieces_of": pieces_of, "joints": joints, "links": links}
    return made


def number(value: float) -> str:
    """Return a length with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def path_data(points: Iterable[Place]) -> str:
    """Return the data of a path from point to point."""
    return "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points)


def pieces_of(net: Net, sheet: Sheet) -> Iterable[Segment]:
    """Yield the straight pieces of a wire."""
    upright = sheet.upright(net)
    heights = {channel: sheet.height(net, channel) for channel in net.channels}
    for end in net.ends:
        x, edge = sheet.axis[end.column], _edge(end, sheet)
        if edge != heights[end.channel]:
            yield (x, edge), (x, heights[end.channel])
    for channel, y in heights.items():
        places = {sheet.axis[end.column] for end in net.ends if end.channel == channel}
        places |= {upright} if upright is not None else set()
        if len(places) > 1:
            yield (min(places), y), (max(places), y)
    if upright is not None:
        first, last = net.span
        yield (upright, heights[first]), (upright, heights[last])
    elif len(net.ends) == 1:  # it leads on in words only
        x, edge = sheet.axis[net.ends[0].column], _edge(net.ends[0], sheet)
        yield (x, edge), (x, sheet.spot(net.node)[1])
    elif len(net.channels) == 1 and not net.lies_in(net.channels[0]):
        edges = sorted({_edge(end, sheet) for end in net.ends})
        x = sheet.axis[net.ends[0].column]
        if len(edges) > 1:
            yield (x, edges[0]), (x, edges[-1])


def _edge(end: End, sheet: Sheet) -> float:
    row = end.channel if end.below else end.channel - 1
    return sheet.row_edges[row][0 if end.below else 1]


def joints(pieces: Sequence[Segment]) -> list[Place]:
    """Return where three or more pieces of one wire meet."""
    corners = sorted({point for piece in pieces for point in piece})
    return [point for point in corners if sum(_arms(point, piece) for piece in pieces) > 2]


def _arms(point: Place, piece: Segment) -> int:
    """Return how many ways a piece leads away from a point: 0, 1 at its end, 2 within."""
    if point in piece:
        return int(piece[0] != piece[1])
    (ax, ay), (bx, by) = piece
    x, y = point
    within = min(ax, bx) <= x <= max(ax, bx) and min(ay, by) <= y <= max(ay, by)
    return 2 if within else 0


def links(sheet: Sheet) -> Iterable[Sequence[Place]]:
    """Yield the link from each relay's coil to the contact that it moves."""
    by_ends = {(part.top, part.bottom): part for part in sheet.parts}
    for part in sheet.parts:
        coil = by_ends.get(part.operated_by) if part.operated_by else None
        if coil is None or coil.row != part.row:
            continue
        y, edge = sheet.row_middle[part.row], sheet.row_edges[part.row][0]
        step = 1 if coil.column < part.column else -1
        start, end = sheet.axis[coil.column] + 8 * step, sheet.axis[part.column] - 4 * step
        yield (start, y - 8), (start, edge), (end - 8, edge), (end - 8, y + 0.5), (end, y + 0.5)
