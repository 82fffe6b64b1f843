"""A shop's own circuit is drawn too, though the tables of the drawing do not know its parts."""

from dataclasses import replace
from xml.etree.ElementTree import Element

import pytest

from api.drawing import circuit_svg
from engine import Knowledge
from tests.drawing.conftest import SHAPES, parsed
from tests.drawing.test_layout import ends, overlapping, texts, touch, wires

SVG = "{http://www.w3.org/2000/svg}"
CIRCUIT = "fuel-shutoff-ignition-timed"


@pytest.fixture(scope="module")
def own(knowledge: Knowledge) -> Knowledge:
    """A knowledge base whose hold wire goes through a joint that no table names."""
    circuit = knowledge.circuits[CIRCUIT]
    wire = circuit.parts["hold-wire"]
    joint = replace(wire, id="bulkhead-joint", between=("bulkhead", wire.between[1]))
    parts = {**circuit.parts, "hold-wire": replace(wire, between=(wire.between[0], "bulkhead"))}
    changed = replace(circuit, parts={**parts, "bulkhead-joint": joint})
    return replace(knowledge, circuits={**knowledge.circuits, CIRCUIT: changed})


def group(root: Element, name: str) -> Element:
    """Return the group of a part."""
    return next(one for one in root.iter(f"{SVG}g") if one.get("data-part") == name)


@pytest.mark.parametrize("shape", SHAPES)
def test_an_unknown_part_is_drawn_where_there_is_room(own: Knowledge, shape: str) -> None:
    """It stands between its two points, named by its id, and nothing runs into anything."""
    root = parsed(circuit_svg(own, CIRCUIT, "case-ground", shape=shape))
    lines = wires(root)
    assert ends(group(root, "bulkhead-joint"), lines) == {"bulkhead", "hold-pin-harness"}
    assert ends(group(root, "hold-wire"), lines) == {"hold-feed", "bulkhead"}
    labels = texts(root)
    assert "Bulkhead joint" in " ".join(said for said, _ in labels)
    for number, (net, one) in enumerate(lines):
        assert not any(touch(one, line) for other, line in lines[:number] if other != net)
    boxes = [box for _, box in labels]
    assert all(one == other for one, other in overlapping(boxes, boxes))
