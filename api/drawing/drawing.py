"""Puts a drawing together: what to draw, what the answer says of it, where it stands, the SVG."""

from collections.abc import Iterable, Sequence
from functools import cache
from importlib.resources import files

from jinja2 import Template

from api.answers.text import templates, xml_text
from api.drawing import words
from api.drawing.diagram import Shape, make_diagram
from api.drawing.marks import Marks, marks_of
from api.drawing.routes import Net
from api.drawing.sheet import MARGIN, WIDTHS, Label, Sheet, SheetLine, set_lines
from api.drawing.text import LINE
from api.strict_json import Json
from engine import Knowledge
from engine.answer.words import listed, percent

ROOM = 90.0  # of a cut-out, for what stands beside the leads
Place = tuple[float, float]
Segment = tuple[Place, Place]


def svg(  # noqa: PLR0913 - the three that are needed stand first, the rest has defaults
    knowledge: Knowledge, request: Json, answer: Json, *, shape: Shape = "wide",
    embed: bool = False, check: Json | None = None, side: str | None = None,
    cut: float | None = None,
) -> str:  # fmt: skip
    """Return the drawing of a diagnosis as SVG.

    ``request`` is the contract's request (already accepted by the engine) and ``answer`` what the
    engine said to it; asked ``in_full``, it lets more parts be called proven good.
    ``check`` is an entry of ``next_checks``; left out, it is the first. ``embed`` leaves out the
    style sheet, for a page that links to ``drawing.css``.
    ``cut`` asks for so many pixels of its height, around the leads; nothing where no lead is drawn.
    Of two brake solenoids the answer's own ``side`` is drawn, or the one of its ``sides`` named.
    """
    side = side or answer.get("side") or ""
    told = answer.get("sides", {}).get(side, answer)
    machine = request["machine"]
    listed: Sequence[Json] = told.get("next_checks", ())
    chosen = check if check is not None else next(iter(listed), None)
    findings = {  # by their place in the request, without those on the other solenoid
        place: one for place, one in enumerate(request.get("findings") or ())
        if not side or one.get("side") in (None, side)
        or knowledge.checks[one["check"]].shared_between_sides
    }  # fmt: skip
    marks = marks_of(knowledge, told, str(machine["coil"]), findings, chosen)
    above = f"{side} side".capitalize() if side else ""
    return _draw(knowledge, machine, marks, shape, above, embed, cut)


def in_full(request: object) -> object:
    """Return the request asking for all causes, unless it says how many it wants."""
    if isinstance(request, dict) and "limit" not in request:
        return {**request, "limit": 0}
    return request


def circuit_svg(knowledge: Knowledge, circuit: str, coil: str, *, shape: Shape = "wide") -> str:
    """Return the drawing of a healthy circuit. Raises KeyError for an id that does not exist."""
    one = knowledge.circuits[circuit]
    machine = {"duty": one.duty, "control": one.control, "coil": coil}
    return _draw(knowledge, machine, Marks(), shape)


def _draw(  # noqa: PLR0913, PLR0917 - what the callers were asked for
    knowledge: Knowledge, machine: Json, marks: Marks, shape: Shape, above: str = "",
    embed: bool = False, cut: float | None = None,
) -> str:  # fmt: skip
    diagram = make_diagram(knowledge, machine, shape, marks.suspected)
    head = words.heading(diagram, machine, above)
    room = WIDTHS[shape] - 2 * MARGIN
    lines = set_lines(head, MARGIN, 6.0, room)
    parts = {part.id: words.part_labels(part, marks) for part in diagram.parts}
    points = {node: words.point_labels(point, marks) for node, point in diagram.points.items()}
    sheet = Sheet(diagram, shape, parts, points, lines[-1].y + LINE)
    next_step = words.probe_list(diagram, marks)
    blocks = [*filter(None, [next_step, words.suspect_list(diagram, marks)]), words.key(marks)]
    below, height = _below(blocks, len(blocks) if shape == "wide" else 1, room, sheet.bottom + 8.0)
    window = (0.0, height) if cut is None else _cut_out(sheet, marks, cut, height)
    if window is None:
        return ""
    drawn = _template().render(
        shape=shape, sheet=sheet, diagram=diagram, marks=marks, window=window, above=above,
        head=head, next=next_step, stylesheet=None if embed else stylesheet(),
        lines=[
            one for one in (*lines, *sheet.lines, *below)
            if window[0] <= one.box[1] and one.box[3] <= window[1]
        ],
    )  # fmt: skip
    return xml_text(drawn).strip()


def _cut_out(
    sheet: Sheet, marks: Marks, tall: float, height: float
) -> tuple[float, float] | None:  # fmt: skip
    """Return top and bottom of the part between the leads; around the red one where it is longer.

    None where nothing in the drawing is to be probed.
    """
    probe = marks.probe
    if probe is None:
        return None
    spots = [sheet.spots[one][1] for one in (probe.red, probe.black) if one in sheet.spots]
    spots += [sheet.row_middle[part.row] for part in sheet.parts if part.id == probe.part]
    if not spots:
        return None
    if max(spots) - min(spots) >= tall - ROOM:
        spots = spots[:1]
    spread = max(spots) - min(spots)
    below = min(tall - ROOM - spread, ROOM) / 2  # what is said of a point hangs below it
    middle = (min(spots) + max(spots)) / 2 + below
    top = max(0.0, min(middle - tall / 2, height - tall))
    return top, top + min(tall, height)


def _below(
    blocks: Sequence[Sequence[Label]], abreast: int, room: float, top: float
) -> tuple[list[SheetLine], float]:
    """Return the lists under the drawing, beside or below each other, and its height."""
    room = room / abreast - (12.0 if abreast > 1 else 0.0)
    found: list[SheetLine] = []
    bottom = top
    for place, block in enumerate(blocks):
        x = MARGIN + (room + 12.0) * (place if abreast > 1 else 0)
        y = top if abreast > 1 else bottom + (8.0 if place else 0.0)
        lines = set_lines(block, x, y, room)
        found += lines
        bottom = max(bottom, lines[-1].y + 4.0)
    return found, bottom + MARGIN


def stylesheet() -> str:
    """Return ``drawing.css``, which a page with embedded drawings links to."""
    return files("api.drawing").joinpath("drawing.css").read_text(encoding="utf-8")


@cache
def _template() -> Template:
    made = templates("api", "drawing")
    made.filters |= {"n": _number, "d": _path_data, "as_sentences": _as_sentences}
    made.globals |= {"pieces_of": _pieces_of, "joints": _joints, "links": _links,
                     "listed": listed, "percent": percent}  # fmt: skip
    return made.get_template("drawing.svg")


def _as_sentences(lines: str) -> str:
    """Return lines as one text, each with its point."""
    said = [one for one in lines.splitlines() if one]
    return " ".join(one if one.endswith((".", "!", "?")) else f"{one}." for one in said)


def _number(value: float) -> str:
    """Return a length with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _path_data(points: Iterable[Place]) -> str:
    """Return the data of a path from point to point."""
    return "M" + " L".join(f"{_number(x)} {_number(y)}" for x, y in points)


def _pieces_of(net: Net, sheet: Sheet) -> Iterable[Segment]:
    """Yield the straight pieces of a wire."""
    upright = sheet.upright(net)
    heights = {channel: sheet.height(net, channel) for channel in net.channels}
    for end in net.ends:
        x, edge = sheet.axis[end.column], sheet.edge(end)
        if edge != heights[end.channel]:
            yield (x, edge), (x, heights[end.channel])
    for channel, y in heights.items():
        places = {sheet.axis[end.column] for end in net.ends if end.channel == channel}
        places |= {upright} if upright is not None else set()
        if len(places) > 1:
            yield (min(places), y), (max(places), y)
    edges = sorted({sheet.edge(end) for end in net.ends})
    x = sheet.axis[net.ends[0].column]
    if upright is not None:
        first, last = net.span
        yield (upright, heights[first]), (upright, heights[last])
    elif len(net.ends) == 1:  # it leads on in words only
        yield (x, edges[0]), (x, sheet.spots[net.node][1])
    elif len(edges) > 1 and not net.lies_in(net.channels[0]):
        yield (x, edges[0]), (x, edges[-1])


def _joints(pieces: Sequence[Segment]) -> list[Place]:
    """Return where three or more pieces of one wire meet: two ways lead on within a piece."""

    def ways(point: Place, piece: Segment) -> int:
        (ax, ay), (bx, by) = piece
        if point in piece:
            return int(piece[0] != piece[1])
        across = min(ax, bx) <= point[0] <= max(ax, bx)
        return 2 if across and min(ay, by) <= point[1] <= max(ay, by) else 0

    corners = sorted({point for piece in pieces for point in piece})
    return [point for point in corners if sum(ways(point, piece) for piece in pieces) > 2]


def _links(sheet: Sheet) -> Iterable[Sequence[Place]]:
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
