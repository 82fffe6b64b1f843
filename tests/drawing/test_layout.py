"""Where things stand: nothing on top of anything else, every part once, every point at one place.

The geometry is read off the SVG, not off the code that made it.
"""

import itertools
import re
from collections import Counter
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from PIL import ImageFont

from api.drawing import svg, text
from engine import Knowledge
from tests.drawing.conftest import COILS, MACHINES, SHAPES, machine_of, parsed
from tests.sweeps import swept

SVG = "{http://www.w3.org/2000/svg}"
FACE = Path("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf")
Box = tuple[float, float, float, float]
Segment = tuple[float, float, float, float]
EXTRA = ("accessory-on-feed", "pull-and-hold-crossed", "ground-resistive", "travel-short")
SHORTS = ("hold-wire-backfed", "hold-wire-shorted-to-ground", "winding-shorted-to-body",
          "pull-wire-shorted-to-ground")  # fmt: skip
SUSPECTED = {"healthy": (), "one": EXTRA[:1], "many": EXTRA, "shorts": SHORTS}
Drawings = dict[str, Element]  # by machine, shape and what is suspected


def drawn(
    knowledge: Knowledge, machine: tuple[str, str, str], shape: str, faults: tuple[str, ...]
) -> Element:
    """Return the drawing of a machine on which these causes are suspected."""
    answer = {
        "causes": [
            {"id": one, "name": knowledge.causes[one].name, "probability": 0.2, "evidence": []}
            for one in faults
        ],
        "next_checks": [{"check": "ground-side-voltage", "expect": [
            {"cause": "healthy", "reads": "0.1 to 0.5 V"}]}] if faults else [],
    }  # fmt: skip
    return parsed(svg(knowledge, {"machine": machine_of(*machine)}, answer, shape=shape))


@pytest.fixture(scope="module")
def drawings(knowledge: Knowledge) -> Drawings:
    """Machines in every shape, healthy and with few and many suspected causes."""
    every = itertools.product(MACHINES, SHAPES, SUSPECTED)
    return {
        "-".join([*machine, shape, name]): drawn(knowledge, machine, shape, SUSPECTED[name])
        for machine, shape, name in swept(every, 5)
    }


def size(root: Element) -> tuple[float, float]:
    """Return width and height of the drawing."""
    return float(root.get("width", "0")), float(root.get("height", "0"))


def texts(root: Element) -> list[tuple[str, Box]]:
    """Return every label with the box that it covers."""
    found = []
    for node in root.iter(f"{SVG}text"):
        if node.get("text-anchor") is None:  # letters inside a symbol have the symbol's place
            x, y = float(node.get("x", "")), float(node.get("y", ""))
            wide = text.width(node.text or "", bold=node.get("font-weight") == "bold")
            found.append((node.text or "", (x, y - 9, x + wide, y + 2.5)))
    return found


def wires(root: Element) -> list[tuple[str, Segment]]:
    """Return the straight pieces of every wire with the point that the wire is."""
    found = []
    for group in root.iter(f"{SVG}g"):
        net = group.get("data-net")
        for path in group.iter(f"{SVG}path") if net else ():
            ax, ay, bx, by = map(float, re.findall(r"-?[\d.]+", path.get("d", "")))
            found.append((str(net), (min(ax, bx), min(ay, by), max(ax, bx), max(ay, by))))
    return found


def overlapping(some: list[Box], others: list[Box]) -> list[tuple[int, int]]:
    """Return the places of the boxes of two lists that have something in common."""
    one, other = np.array(some)[:, None], np.array(others)[None]
    low, high = np.maximum(one, other)[..., :2], np.minimum(one, other)[..., 2:]
    return [(int(a), int(b)) for a, b in np.argwhere((high > low).all(axis=-1))]


def test_a_text_is_no_wider_than_is_reckoned(knowledge: Knowledge) -> None:
    """Set in the broadest of the usual faces, no name is wider than the layout takes it to be."""
    if not FACE.exists():
        pytest.skip(f"no {FACE}")
    faces = {bold: ImageFont.truetype(FACE.with_stem(name), 1200)
             for bold, name in ((False, "DejaVuSans"), (True, "DejaVuSans-Bold"))}  # fmt: skip
    names = [one.name for one in (*knowledge.causes.values(), *knowledge.checks.values(),
                                  *knowledge.circuits.values())]  # fmt: skip
    for bold, said in itertools.product(faces, [*names, "87", "red lead +", "read 11.4 V"]):
        assert faces[bold].getlength(said) / 1200 * text.SIZE <= text.width(said, bold), said


def test_no_label_lies_on_another(drawings: Drawings) -> None:
    """No two labels cover the same place, and none sticks out of the drawing."""
    for name, root in drawings.items():
        wide, high = size(root)
        found = texts(root)
        assert len(found) > 50, name
        boxes = [box for _, box in found]
        for one, other in overlapping(boxes, boxes):
            assert one == other, (name, found[one], found[other])
        for said, (left, top, right, bottom) in found:
            assert 0 <= left < right <= wide, (name, said)
            assert 0 <= top < bottom <= high, (name, said)


def test_no_wire_runs_through_a_label(drawings: Drawings) -> None:
    """No wire crosses a label."""
    for name, root in drawings.items():
        lines, found = wires(root), texts(root)
        around = [(a - 0.7, b - 0.7, c + 0.7, d + 0.7) for _, (a, b, c, d) in lines]
        crossed = overlapping(around, [box for _, box in found])
        assert [(lines[line], found[text]) for line, text in crossed] == [], name


def test_wires_of_two_points_cross_at_most(drawings: Drawings) -> None:
    """Two wires may cross at a right angle; they never run along each other nor end on another."""
    for name, root in drawings.items():
        for (net, one), (other, line) in itertools.combinations(wires(root), 2):
            if net != other:
                assert not touch(one, line), (name, net, other, one, line)


def touch(one: Segment, other: Segment) -> bool:
    """Return whether two straight pieces meet otherwise than by crossing within both."""
    across = max(one[0], other[0]), min(one[2], other[2])
    down = max(one[1], other[1]), min(one[3], other[3])
    if across[0] > across[1] or down[0] > down[1]:
        return False
    upright, flat = (one, other) if one[0] == one[2] else (other, one)
    crossing = (
        upright[0] == upright[2] and flat[1] == flat[3] and flat[0] != flat[2]
        and flat[0] < upright[0] < flat[2] and upright[1] < flat[1] < upright[3]
    )  # fmt: skip
    return not crossing


def test_wires_join_what_the_circuit_joins(drawings: Drawings) -> None:
    """The pieces of each wire hang together, so a point is one wire at one place."""
    for name, root in drawings.items():
        by_net: dict[str, list[Segment]] = {}
        for net, line in wires(root):
            by_net.setdefault(net, []).append(line)
        marked = Counter(node.get("data-point") for node in root.iter(f"{SVG}g"))
        del marked[None]
        assert marked == Counter([*by_net]), name
        for net, lines in by_net.items():
            assert len(joined(lines)) == len(set(lines)), (name, net)


def joined(lines: list[Segment]) -> list[Segment]:
    """Return the pieces that hang together with the first one."""
    reached, waiting = [], [lines[0]]
    while waiting:
        line = waiting.pop()
        reached.append(line)
        rest = [one for one in lines if one not in reached and one not in waiting]
        waiting += [one for one in rest if meets(one, line)]
    return reached


def meets(one: Segment, other: Segment) -> bool:
    """Return whether two straight pieces have a place in common."""
    return (
        max(one[0], other[0]) <= min(one[2], other[2])
        and max(one[1], other[1]) <= min(one[3], other[3])
    )  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("coil", COILS[:2])
def test_every_part_is_drawn_once(knowledge: Knowledge, coil: str, shape: str) -> None:
    """Each part of a circuit's data that a healthy machine has is drawn exactly once."""
    for circuit in knowledge.circuits.values():
        root = drawn(knowledge, (circuit.duty, circuit.control, coil), shape, ())
        parts = [*circuit.parts.values(), *circuit.coils[coil].parts]
        counted = Counter(node.get("data-part") for node in root.iter(f"{SVG}g"))
        del counted[None]
        assert counted == {part.id: 1 for part in parts if not part.absent}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_suspected_fault_is_drawn(knowledge: Knowledge, shape: str) -> None:
    """A part that only a fault puts in is drawn once where that fault is suspected."""
    root = drawn(knowledge, MACHINES[0], shape, ("pull-wire-shorted-to-ground",))
    counted = Counter(node.get("data-part") for node in root.iter(f"{SVG}g"))
    assert counted["pull-wire-short"] == 1
    assert counted["hold-wire-short"] == 0


def test_a_phone_has_room_for_three_faults(knowledge: Knowledge) -> None:
    """Of four suspected shorts the tall drawing shows three; of the last it says so."""
    root = drawn(knowledge, MACHINES[0], "tall", SHORTS)
    parts = {node.get("data-part") for node in root.iter(f"{SVG}g")}
    assert len(parts & {"hold-backfeed", "hold-wire-short", "body-short", "pull-wire-short"}) == 3
    said = " ".join(one for one, _ in texts(root))
    assert said.count("(not in this drawing)") == 1


@pytest.mark.parametrize("shape", SHAPES)
def test_ends_of_parts_lie_on_their_wires(knowledge: Knowledge, shape: str) -> None:
    """Both leads of each part end on the wires of the two points that the data puts it between."""
    for circuit in knowledge.circuits.values():
        root = drawn(knowledge, (circuit.duty, circuit.control, "case-ground"), shape, ())
        parts = {one.id: one for one in [*circuit.parts.values(),
                                         *circuit.coils["case-ground"].parts]}  # fmt: skip
        lines = wires(root)
        for group in root.iter(f"{SVG}g"):
            if group.get("data-part"):
                part = parts[str(group.get("data-part"))]
                assert ends(group, lines) == set(part.between), part.id


def ends(group: Element, lines: list[tuple[str, Segment]]) -> set[str]:
    """Return the wires on which the first and the second lead of a drawn part end."""
    x, y = map(float, re.findall(r"-?[\d.]+", group.get("transform", "")))
    paths = group.findall(f"{SVG}path")[:2]
    numbers = [list(map(float, re.findall(r"-?[\d.]+", one.get("d", "")))) for one in paths]
    spots = [(x, y + numbers[0][1]), (x, y + numbers[1][3])]
    return {
        net
        for net, (left, top, right, bottom) in lines
        for across, down in spots
        if left - 0.02 <= across <= right + 0.02 and top - 0.02 <= down <= bottom + 0.02
    }
