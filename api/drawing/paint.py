"""From geometry to SVG elements. Presentation attributes and classes only: no style attribute."""

from collections.abc import Iterable, Mapping, Sequence
from xml.etree.ElementTree import Element, SubElement

from api.drawing import text
from api.drawing.diagram import Diagram, Drawn
from api.drawing.marks import Marks
from api.drawing.routes import End, Net
from api.drawing.sheet import MARK_WIDTH, Frame, Sheet, SheetLine
from api.drawing.symbols import SYMBOLS, Points, Symbol

INK = "currentColor"
_WEIGHTS = {"pull": 2.4, "hold": 1.4, "ground": 1.9, "": 1.4}
_GOOD_WEIGHT = 3.4
_MARK_LETTERS = {"red": "R", "black": "B", "clamp": "C", "look": "X"}


def number(value: float) -> str:
    """Return a length with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _add(parent: Element, tag: str, css: str = "", **attributes: float | str) -> Element:
    """Add an element; underscores in attribute names stand for hyphens."""
    said = {"class": css} if css else {}
    for name, value in attributes.items():
        said[name.replace("_", "-")] = value if isinstance(value, str) else number(value)
    return SubElement(parent, tag, said)


def _path(parent: Element, points: Sequence[tuple[float, float]], css: str, **more: str) -> None:
    steps = " L".join(f"{number(x)} {number(y)}" for x, y in points)
    _add(parent, "path", css, d=f"M{steps}", fill="none", **more)


def paint_wires(parent: Element, sheet: Sheet, diagram: Diagram) -> None:
    """Draw every wire once, with a dot where three or more lines of it meet."""
    group = _add(parent, "g", "tw-wires")
    for net in sheet.routes.nets:
        kind = diagram.points[net.node].path
        css = f"tw-wire tw-{kind}" if kind else "tw-wire"
        one = _add(group, "g", "", data_net=net.node)
        lines = list(_lines_of(net, sheet))
        for start, end in lines:
            _path(one, (start, end), css, stroke=INK, stroke_width=number(_WEIGHTS[kind]),
                  stroke_linecap="round")  # fmt: skip
        for x, y in _joints(lines):
            _add(one, "circle", "tw-dot", cx=x, cy=y, r=3.2, fill=INK)


Segment = tuple[tuple[float, float], tuple[float, float]]


def _lines_of(net: Net, sheet: Sheet) -> Iterable[Segment]:
    """Yield the straight pieces of a wire."""
    upright = sheet.upright(net)
    heights = {channel: sheet.height(net, channel) for channel in net.channels}
    for end in net.ends:
        x, edge = sheet.axis[end.column], _edge(end, sheet)
        if edge != heights[end.channel]:
            yield (x, edge), (x, heights[end.channel])
    for channel, y in heights.items():
        places = [sheet.axis[end.column] for end in net.ends if end.channel == channel]
        places += [upright] if upright is not None else []
        places = sorted(set(places))
        if len(places) > 1:
            yield (places[0], y), (places[-1], y)
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


def _joints(lines: Sequence[Segment]) -> list[tuple[float, float]]:
    """Return where three or more pieces of one wire meet."""
    corners = sorted({point for line in lines for point in line})
    return [point for point in corners if sum(_arms(point, line) for line in lines) > 2]


def _arms(point: tuple[float, float], line: Segment) -> int:
    """Return how many ways a piece leads away from a point: 0, 1 at its end, 2 within."""
    if point in line:
        return int(line[0] != line[1])
    (ax, ay), (bx, by) = line
    x, y = point
    within = min(ax, bx) <= x <= max(ax, bx) and min(ay, by) <= y <= max(ay, by)
    return 2 if within else 0


def paint_frames(parent: Element, frames: Sequence[Frame]) -> None:
    """Draw the boxes around what sits in one thing."""
    for frame in frames:
        _add(parent, "rect", "tw-frame", x=frame.left, y=frame.top, rx=6,
             width=frame.right - frame.left, height=frame.bottom - frame.top,
             fill="none", stroke=INK, stroke_width=1, stroke_dasharray="1 3",
             stroke_linecap="round")  # fmt: skip


def paint_parts(parent: Element, sheet: Sheet, diagram: Diagram, marks: Marks) -> None:
    """Draw every part once: proven good in a broad line, suspect in a thick dashed outline."""
    group = _add(parent, "g", "tw-parts")
    for part in sheet.parts:
        x, y = sheet.axis[part.column], sheet.row_middle[part.row]
        suspect, good = bool(marks.tags(part.id)), part.id in marks.good
        state = "suspect" if suspect else "good" if good else ""
        way = _way(part, diagram)
        looks = " ".join(["tw-part", *([f"tw-{way}"] if way else []),
                          *([f"tw-is-{state}"] if state else [])])  # fmt: skip
        one = _add(group, "g", looks, data_part=part.id,
                   transform=f"translate({number(x)} {number(y)})", stroke=INK, fill="none",
                   stroke_width=_GOOD_WEIGHT if state == "good" else _WEIGHTS[way],
                   stroke_linecap="round", stroke_linejoin="round")  # fmt: skip
        if state:
            one.set("data-state", state)
        symbol = SYMBOLS.get(part.symbol, SYMBOLS["load"])
        _paint_symbol(one, symbol, sheet, part)
        if suspect:
            _add(one, "rect", "tw-outline", x=-13, y=-19, width=26, height=38, rx=4, fill="none",
                 stroke=INK, stroke_width=2.6, stroke_dasharray="6 4")  # fmt: skip
    _paint_links(parent, sheet)


def _way(part: Drawn, diagram: Diagram) -> str:
    """Return the way of the current that a part belongs to: that of its feed, else of its end."""
    above, below = diagram.points[part.top].path, diagram.points[part.bottom].path
    return above or (below if below != "ground" else "")


def _paint_symbol(one: Element, symbol: Symbol, sheet: Sheet, part: Drawn) -> None:
    top, bottom = sheet.row_edges[part.row]
    middle = sheet.row_middle[part.row]
    leads: list[Points] = [((0, top - middle), (0, -symbol.reach))]
    leads.append(((0, symbol.reach), (0, bottom - middle)))
    for points in (*leads, *symbol.strokes):
        _path(one, points, "")
    for points in symbol.thick:
        _path(one, points, "", stroke_width="4")
    for points in symbol.fine:
        _path(one, points, "", stroke_width="1.4")
    for points in symbol.dashed:
        _path(one, points, "", stroke_dasharray="2 2", stroke_width="1.2")
    for x, y, width, height in symbol.boxes:
        _add(one, "rect", "", x=x, y=y, width=width, height=height)
    for x, y, radius in symbol.rings:
        _add(one, "circle", "", cx=x, cy=y, r=radius)
    if symbol.letter:
        _letter(one, (0, 0), symbol.letter, "tw-text")


def _letter(
    parent: Element, at: tuple[float, float], letter: str, css: str, fill: str = INK
) -> None:
    """Write one letter with its middle at a place."""
    x, y = at
    node = _add(parent, "text", css, x=x, y=y + 4.3, fill=fill, stroke="none",
                font_size=12, font_weight="bold", text_anchor="middle")  # fmt: skip
    node.text = letter


def _paint_links(parent: Element, sheet: Sheet) -> None:
    """Draw the dashed link from a relay's coil to the contact that it moves."""
    by_ends = {(part.top, part.bottom): part for part in sheet.parts}
    for part in sheet.parts:
        coil = by_ends.get(part.operated_by) if part.operated_by else None
        if coil is None or coil.row != part.row:
            continue
        y, edge = sheet.row_middle[part.row], sheet.row_edges[part.row][0]
        step = 1 if coil.column < part.column else -1
        start, end = sheet.axis[coil.column] + 8 * step, sheet.axis[part.column] - 4 * step
        points = (
            (start, y - 8),
            (start, edge),
            (end - 8, edge),
            (end - 8, y + 0.5),
            (end, y + 0.5),
        )
        _path(parent, points, "tw-link", stroke=INK, stroke_width="1.2", stroke_dasharray="4 3")


def paint_points(parent: Element, sheet: Sheet, marks: Marks, labels: Iterable[str]) -> None:
    """Mark every point of the circuit once; the leads of the next check stand on theirs."""
    group = _add(parent, "g", "tw-points")
    probe = marks.probe
    for node in labels:
        x, y = sheet.spot(node)
        one = _add(group, "g", "tw-point", data_point=node)
        mark = ""
        if probe is not None:
            mark = "red" if node == probe.red else "black" if node == probe.black else ""
        if mark:
            paint_mark(one, x, y, mark, 8.5)
        else:
            _add(one, "circle", "tw-dot", cx=x, cy=y, r=2.6, fill=INK)
    here = probe.part if probe is not None else ""
    for part in sheet.parts:
        if part.id == here:
            _paint_corners(group, sheet.axis[part.column], sheet.row_middle[part.row])


def _paint_corners(parent: Element, x: float, y: float) -> None:
    """Draw four corners around the part where the next check is done."""
    for across in (-15, 15):
        for down in (-21, 21):
            corner = ((x + across, y + down * 0.6), (x + across, y + down),
                      (x + across * 0.4, y + down))  # fmt: skip
            _path(parent, corner, "tw-corner", stroke=INK, stroke_width="2.6")


def paint_mark(parent: Element, x: float, y: float, mark: str, size: float = 6.0) -> None:
    """Draw a mark with its middle at a place."""
    if mark == "good":
        _path(parent, ((x - 5, y), (x - 1.5, y + 4), (x + 5, y - 5)), "tw-mark-good", stroke=INK,
              stroke_width="2.4", stroke_linecap="round")  # fmt: skip
    elif mark == "suspect":
        _add(parent, "rect", "tw-mark-suspect", x=x - 5, y=y - 5, width=10, height=10, rx=2,
             fill="none", stroke=INK, stroke_width=2, stroke_dasharray="3.5 2")  # fmt: skip
    else:
        _paint_lead(parent, x, y, mark, size)


def _paint_lead(parent: Element, x: float, y: float, mark: str, size: float) -> None:
    """Draw a lettered mark: a ring for the red lead, filled for the black, a box to look at."""
    dark = mark == "black"
    css = "tw-lead-black" if dark else "tw-lead"
    paint = {"fill": "#000" if dark else "#fff", "stroke": "#000", "stroke_width": "2"}
    if mark == "look":
        _add(parent, "rect", css, x=x - size, y=y - size, width=2 * size, height=2 * size, **paint)
    else:
        _add(parent, "circle", css, cx=x, cy=y, r=size, **paint)
    letter = "tw-letter-black" if dark else "tw-letter"
    _letter(parent, (x, y), _MARK_LETTERS[mark], letter, "#fff" if dark else "#000")


_STYLES: Mapping[str, str] = {
    "suspect": "tw-text-suspect", "good": "tw-text-good", "soft": "tw-soft"
}  # fmt: skip


def paint_lines(parent: Element, lines: Sequence[SheetLine]) -> None:
    """Write the labels and their marks."""
    group = _add(parent, "g", "tw-labels")
    for line in lines:
        if line.mark:
            paint_mark(group, line.x - MARK_WIDTH + 6.5, line.y - 4, line.mark)
        css = f"tw-text {_STYLES.get(line.style, '')}".strip()
        node = _add(group, "text", css, x=line.x, y=line.y, fill=INK, font_size=text.SIZE)
        if line.bold:
            node.set("font-weight", "bold")
        node.text = line.text
