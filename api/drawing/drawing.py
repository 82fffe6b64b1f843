"""Puts a drawing together: what to draw, what the answer says of it, where it stands, the SVG."""

import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

from api.drawing import paint, words
from api.drawing.diagram import Diagram, Shape, make_diagram
from api.drawing.marks import Marks, make_marks
from api.drawing.sheet import MARGIN, WIDTHS, Label, Line, Sheet, set_lines
from api.drawing.text import LINE
from engine import Knowledge

_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_FONT = "Arial, 'Liberation Sans', Helvetica, sans-serif"


def stylesheet() -> str:
    """Return ``drawing.css``, which a page with embedded drawings links to."""
    return files("api").joinpath("static", "drawing.css").read_text(encoding="utf-8")


def svg(
    knowledge: Knowledge,
    request: Mapping[str, Any],
    answer: Mapping[str, Any],
    *,
    shape: Shape = "wide",
    embed: bool = False,
    check: Mapping[str, Any] | None = None,
    heading: str = "",
) -> str:
    """Return the drawing of a diagnosis as SVG.

    ``request`` is the contract's request (already accepted by the engine) and ``answer`` what the
    engine said to it; asked for with ``"limit": 0``, it lets more parts be called proven good.
    ``check`` is an entry of ``next_checks``; left out, it is the first. ``embed`` leaves out the
    style sheet, for a page that links to ``drawing.css``. ``heading`` is a line above it.
    """
    machine = request["machine"]
    listed: Sequence[Mapping[str, Any]] = answer.get("next_checks", ())
    chosen = check if check is not None else next(iter(listed), None)
    findings = request.get("findings") or ()
    marks = make_marks(knowledge, findings, answer, str(machine["coil"]), chosen)
    return _draw(knowledge, machine, marks, shape, embed, heading)


def circuit_svg(
    knowledge: Knowledge, circuit: str, coil: str, *, shape: Shape = "wide", embed: bool = False
) -> str:
    """Return the drawing of a healthy circuit. Raises KeyError for an id that does not exist."""
    one = knowledge.circuits[circuit]
    machine = {"duty": one.duty, "control": one.control, "coil": coil}
    return _draw(knowledge, machine, Marks(), shape, embed, "")


def _draw(
    knowledge: Knowledge, machine: Mapping[str, Any], marks: Marks, shape: Shape, embed: bool,
    above: str,
) -> str:  # fmt: skip
    suspected = {part for one in marks.suspects for part in one.parts}
    diagram = make_diagram(knowledge, machine, shape, suspected)
    above = " ".join(_NO_XML.sub(" ", above).split())
    head = words.heading(knowledge, diagram, machine, above)
    lines = set_lines(head, MARGIN, 6.0, WIDTHS[shape] - 2 * MARGIN, "heading")
    sheet = Sheet(
        diagram, shape, words.part_labels(diagram, marks), words.point_labels(diagram, marks),
        lines[-1].y + LINE,
    )  # fmt: skip
    below, height = _below(diagram, marks, shape, sheet.bottom + 8.0)
    names = [
        Line(f.text_at, f.top + 13, f.name.capitalize(), "soft", False, "", f"frame {f.name}")
        for f in sheet.frames
    ]
    root = _root(diagram, marks, shape, (sheet.width, height), head, above)
    if not embed:
        SubElement(root, "style").text = stylesheet()
        size = {"width": "100%", "height": "100%", "fill": "#fff"}
        SubElement(root, "rect", {"class": "tw-paper", **size})
    paint.paint_frames(root, sheet.frames)
    paint.paint_wires(root, sheet, diagram)
    paint.paint_parts(root, sheet, diagram, marks)
    paint.paint_points(root, sheet, marks, diagram.points)
    paint.paint_lines(root, [*lines, *sheet.lines, *names, *below])
    _clean(root)
    return tostring(root, encoding="unicode")


def _below(
    diagram: Diagram, marks: Marks, shape: Shape, top: float
) -> tuple[list[Line], float]:
    """Return the lists under the drawing, beside each other where it is wide, and its height."""
    blocks = [words.probe_list(diagram, marks), words.suspect_list(diagram, marks)]
    blocks = [*filter(None, blocks), words.key(marks)]
    abreast = len(blocks) if shape == "wide" else 1
    room = (WIDTHS[shape] - 2 * MARGIN) / abreast - (12.0 if abreast > 1 else 0.0)
    found: list[Line] = []
    bottom = top
    for place, block in enumerate(blocks):
        x = MARGIN + (room + 12.0) * (place if abreast > 1 else 0)
        y = top if abreast > 1 else bottom + (8.0 if place else 0.0)
        lines = set_lines(block, x, y, room, "list")
        found += lines
        bottom = max(bottom, lines[-1].y + 4.0)
    return found, bottom + MARGIN


def _root(
    diagram: Diagram, marks: Marks, shape: Shape, size: tuple[float, float],
    head: Sequence[Label], above: str,
) -> Element:  # fmt: skip
    wide, high = (paint.number(one) for one in size)
    root = Element("svg", {
        "xmlns": "http://www.w3.org/2000/svg", "class": f"tw-drawing tw-{shape}", "role": "img",
        "aria-labelledby": f"tw-{shape}-title", "aria-describedby": f"tw-{shape}-desc",
        "width": wide, "height": high, "viewBox": f"0 0 {wide} {high}", "font-family": _FONT,
    })  # fmt: skip
    title = SubElement(root, "title", {"id": f"tw-{shape}-title"})
    title.text = words.title(diagram, above)
    desc = SubElement(root, "desc", {"id": f"tw-{shape}-desc"})
    desc.text = words.description(diagram, marks, head)
    return root


def _clean(root: Element) -> None:
    """Take out of every text what XML cannot carry (control characters, half pairs)."""
    for node in root.iter():
        if node.text:
            node.text = _NO_XML.sub(" ", node.text)
