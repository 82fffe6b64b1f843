"""The picture of a curve: well-formed, told in words, without script, and true to its points."""

import re
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.sums import SUMS, compute
from api.sums.plot import HEIGHT, LETTER, WIDTH, describe, svg
from engine import Knowledge

DRAWN = ["winding-current", "feed-drop", "fuse-opening", "pull-on-time", "pull-in-margin"]
NS = "{http://www.w3.org/2000/svg}"


def curve_of(knowledge: Knowledge, name: str) -> dict[str, Any]:
    """Return the curve of a sum's example."""
    curve: dict[str, Any] = compute(knowledge, name, dict(SUMS[name].example))["curve"]
    return curve


def read(text: str) -> ET.Element:
    """Return the root of a picture."""
    return ET.fromstring(text)  # noqa: S314 - our own


@pytest.mark.parametrize("name", DRAWN)
def test_picture_is_told_in_words(knowledge: Knowledge, name: str) -> None:
    """Title and description come first, and the description has axes, units and the mark."""
    curve = curve_of(knowledge, name)
    root = read(svg(curve, SUMS[name].title))
    assert root.attrib["role"] == "img"
    assert [child.tag for child in root[:2]] == [f"{NS}title", f"{NS}desc"]
    assert root[0].text == SUMS[name].title
    for axis in (curve["x"], curve["y"]):
        assert axis["name"] in (root[1].text or "").lower()
    assert all(mark["name"] in (root[1].text or "").lower() for mark in curve["marks"])


@pytest.mark.parametrize("name", DRAWN)
def test_picture_needs_nothing_from_elsewhere(knowledge: Knowledge, name: str) -> None:
    """There is no script, style sheet, link or font file in it, and strokes follow the text."""
    text = svg(curve_of(knowledge, name), "x")
    assert not re.search(r"<script|<style|href|url\(|@import|\son\w+=|style=", text)
    strokes = {one.attrib["stroke"] for one in read(text).iter() if "stroke" in one.attrib}
    assert strokes == {"currentColor"}


@pytest.mark.parametrize("name", DRAWN)
def test_lines_differ_without_colour(knowledge: Knowledge, name: str) -> None:
    """Each line has dashes of its own, shown again beside its name."""
    curve = curve_of(knowledge, name)
    paths = [
        one for one in read(svg(curve, "x")).iter(f"{NS}path") if one.attrib["class"] != "plot-axis"
    ]
    assert len(paths) == 2 * len(curve["lines"])
    dashes = [one.attrib.get("stroke-dasharray", "") for one in paths]
    assert dashes[::2] == dashes[1::2]
    assert len(set(dashes)) == len(curve["lines"])


@pytest.mark.parametrize("name", DRAWN)
def test_axes_have_numbers_and_units(knowledge: Knowledge, name: str) -> None:
    """Both axes carry their name with the unit, and at least two numbers each."""
    curve = curve_of(knowledge, name)
    texts = [one.text or "" for one in read(svg(curve, "x")).iter(f"{NS}text")]
    for axis in (curve["x"], curve["y"]):
        assert f"{axis['name']} ({axis['unit']})" in texts
    assert sum(bool(re.fullmatch(r"-?[\d.]+", text)) for text in texts) >= 4


def test_mark_lies_on_its_line(knowledge: Knowledge) -> None:
    """The mark of a winding lies on the drawn line, to within a pixel between two points."""
    root = read(svg(curve_of(knowledge, "pull-on-time"), "x"))
    circle = next(root.iter(f"{NS}circle"))
    path = next(one for one in root.iter(f"{NS}path") if one.attrib["class"] == "plot-line-0")
    steps = re.findall(r"([\d.]+) ([\d.]+)", path.attrib["d"])
    points = [(float(x), float(y)) for x, y in steps]
    x, y = float(circle.attrib["cx"]), float(circle.attrib["cy"])
    (x1, y1), (x2, y2) = next(pair for pair in pairwise(points) if pair[0][0] <= x <= pair[1][0])
    assert y == pytest.approx(y1 + (y2 - y1) * (x - x1) / (x2 - x1), abs=1)


@pytest.mark.parametrize("name", DRAWN)
def test_words_at_a_mark_are_not_struck_through(knowledge: Knowledge, name: str) -> None:
    """No line of a curve runs through the words that stand beside its mark."""
    root = read(svg(curve_of(knowledge, name), "x"))
    marks = [one for one in root.iter(f"{NS}text") if ": " in (one.text or "")]
    for one in marks:
        wide = len(one.text or "") * LETTER
        right = float(one.attrib["x"]) + (wide if one.attrib["text-anchor"] == "start" else 0.0)
        top, bottom = float(one.attrib["y"]) - 10, float(one.attrib["y"]) + 2
        for path in root.iter(f"{NS}path"):
            steps = re.findall(r"([\d.]+) ([\d.]+)", path.attrib["d"])
            for px, py in ((float(x), float(y)) for x, y in steps):
                assert not (right - wide < px < right and top < py < bottom), (one.text, px, py)


NUMBER = st.floats(-1e6, 1e6)
SCALE = st.sampled_from(["linear", "log"])
TEXT = st.text(max_size=12)


@given(points=st.lists(st.tuples(NUMBER, NUMBER), min_size=1, max_size=5), scales=st.tuples(
    SCALE, SCALE), words=TEXT)  # fmt: skip
def test_any_points_and_words_give_a_picture(
    points: list[tuple[float, float]], scales: tuple[str, str], words: str
) -> None:
    """Any numbers and any text give well-formed XML inside the frame, or ValueError for none."""
    x, y = ({"name": words, "unit": words, "scale": scale} for scale in scales)
    lines = [{"name": words, "limit": False, "points": points}]
    curve = {"x": x, "y": y, "lines": lines, "marks": [{"name": words, "x": 1.0, "y": 1.0}]}
    root = read(svg(curve, f"</title><script>{words}"))
    assert root[0].text is not None
    assert root[0].text.startswith("</title><script>")
    for path in root.iter(f"{NS}path"):
        if path.attrib["class"] == "plot-line-0":
            for px, py in re.findall(r"([\d.]+) ([\d.]+)", path.attrib["d"]):
                assert 0 <= float(px) <= WIDTH
                assert 0 <= float(py) <= HEIGHT


def test_nothing_to_draw() -> None:
    """A curve without a point that its axes can show is refused."""
    axis = {"name": "a", "unit": "b", "scale": "log"}
    lines = [{"name": "c", "limit": False, "points": [[0.0, 1.0]]}]
    with pytest.raises(ValueError, match="must have points"):
        svg({"x": axis, "y": axis, "lines": lines, "marks": []}, "x")


def test_words_of_a_curve(knowledge: Knowledge) -> None:
    """The description says where each line runs and where the caller stands, with units."""
    said = describe(curve_of(knowledge, "pull-on-time"))
    assert said.startswith("Temperature of the winding in C against time on in s.")
    assert "Limit 'class F'" in said
    assert said.endswith("Reaches the class: 27.3 s, 155 C.")
