"""Puts a drawing together: what to draw, what the answer says of it, where it stands, the SVG."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing import paint, words
from api.drawing.diagram import Diagram, Shape, make_diagram
from api.drawing.marks import Marker, Marks
from api.drawing.sheet import MARGIN, WIDTHS, Sheet, SheetLine, set_lines
from api.drawing.text import LINE
from api.strict_json import Json
from engine import Knowledge

ROOM = 90.0  # of a cut-out, for what stands beside the leads


@dataclass(frozen=True)
class Look:
    """How a drawing is wanted: its shape, without its style sheet, with a line above it."""

    shape: Shape = "wide"
    embed: bool = False
    heading: str = ""
    cut: float | None = None  # of a cut-out, pixels in height

    @property
    def width(self) -> float:
        """Return the room between the margins, in pixels."""
        return WIDTHS[self.shape] - 2 * MARGIN


def svg(  # noqa: PLR0913 - the three that are needed stand first, the rest has defaults
    knowledge: Knowledge,
    request: Json,
    answer: Json,
    *,
    shape: Shape = "wide",
    embed: bool = False,
    check: Json | None = None,
    side: str | None = None,
    cut: float | None = None,
) -> str:
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
    findings = _of_side(knowledge, request.get("findings") or (), side)
    marks = Marker(knowledge, told, str(machine["coil"])).marks(findings, chosen)
    above = f"{side} side".capitalize() if side else ""
    return _draw(knowledge, machine, marks, Look(shape, embed, above, cut))


def in_full(request: object) -> object:
    """Return the request asking for all causes, unless it says how many it wants."""
    if isinstance(request, dict) and "limit" not in request:
        return {**request, "limit": 0}
    return request


def _of_side(knowledge: Knowledge, findings: Sequence[Json], side: str) -> dict[int, Json]:
    """Return the findings by their place in the request, without those on the other solenoid."""
    return {
        place: one
        for place, one in enumerate(findings)
        if not side or one.get("side") in (None, side)
        or knowledge.checks[one["check"]].shared_between_sides
    }  # fmt: skip


def circuit_svg(knowledge: Knowledge, circuit: str, coil: str, *, shape: Shape = "wide") -> str:
    """Return the drawing of a healthy circuit. Raises KeyError for an id that does not exist."""
    one = knowledge.circuits[circuit]
    machine = {"duty": one.duty, "control": one.control, "coil": coil}
    return _draw(knowledge, machine, Marks(), Look(shape))


def _draw(knowledge: Knowledge, machine: Json, marks: Marks, look: Look) -> str:
    suspected = list(dict.fromkeys(part for one in marks.suspects for part in one.parts))
    diagram = make_diagram(knowledge, machine, look.shape, suspected)
    head = words.heading(diagram, machine, look.heading)
    lines = set_lines(head, MARGIN, 6.0, look.width)
    parts = {part.id: words.part_labels(part, marks) for part in diagram.parts}
    points = {node: words.point_labels(point, marks) for node, point in diagram.points.items()}
    sheet = Sheet(diagram, look.shape, parts, points, lines[-1].y + LINE)
    below, height = _below(diagram, marks, look, sheet.bottom + 8.0)
    names = [
        SheetLine(f.name.capitalize(), "soft", x=f.text_at, y=f.top + 13) for f in sheet.frames
    ]
    window = (0.0, height) if look.cut is None else _cut_out(sheet, marks, look.cut, height)
    if window is None:
        return ""
    return paint.render(
        shape=look.shape, sheet=sheet, diagram=diagram, marks=marks, window=window,
        title=words.title(diagram, look.heading),
        description=words.description(diagram, marks, head),
        stylesheet=None if look.embed else paint.stylesheet(),
        lines=[
            one for one in (*lines, *sheet.lines, *names, *below)
            if window[0] <= one.box[1] and one.box[3] <= window[1]
        ],
    )  # fmt: skip


def _cut_out(
    sheet: Sheet, marks: Marks, tall: float, height: float
) -> tuple[float, float] | None:  # fmt: skip
    """Return top and bottom of the part between the leads; around the red one where it is longer.

    None where nothing in the drawing is to be probed.
    """
    probe = marks.probe
    if probe is None:
        return None
    spots = [sheet.spot(one)[1] for one in (probe.red, probe.black) if sheet.has(one)]
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


def _below(diagram: Diagram, marks: Marks, look: Look, top: float) -> tuple[list[SheetLine], float]:
    """Return the lists under the drawing, beside each other where it is wide, and its height."""
    blocks = [words.probe_list(diagram, marks), words.suspect_list(diagram, marks)]
    blocks = [*filter(None, blocks), words.key(marks)]
    abreast = len(blocks) if look.shape == "wide" else 1
    room = look.width / abreast - (12.0 if abreast > 1 else 0.0)
    found: list[SheetLine] = []
    bottom = top
    for place, block in enumerate(blocks):
        x = MARGIN + (room + 12.0) * (place if abreast > 1 else 0)
        y = top if abreast > 1 else bottom + (8.0 if place else 0.0)
        lines = set_lines(block, x, y, room)
        found += lines
        bottom = max(bottom, lines[-1].y + 4.0)
    return found, bottom + MARGIN
