"""The picture of a recording, and the invented recordings that show them."""

import re
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from click.testing import Result

from api.recordings import invented
from api.recordings.document import document
from api.recordings.picture import LEFT, RIGHT, WIDTH, picture
from api.strict_json import Json
from engine import Diagnoser

NS = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def answers(diagnoser: Diagnoser) -> dict[str, Json]:
    """Give what is read from each invented recording."""
    return {
        one.id: document(diagnoser.knowledge, invented.invent(diagnoser, one))
        for one in invented.load_all()
    }


def figure(answer: Json, name: str) -> Any:
    """Return a figure's value."""
    return next(one["value"] for one in answer["figures"] if one["id"] == name)


def test_there_are_four_and_each_says_that_nobody_took_it() -> None:
    """The default one is the good pull; none passes for a real recording."""
    found = invented.load_all()
    assert [one.id for one in found][:1] == ["pull-trace"]
    assert len(found) == 4
    assert all("invented" in one.title and "Nobody took" in one.story for one in found)


@pytest.mark.parametrize(
    ("name", "plunger", "amperes", "seconds"),
    [
        ("pull-trace", "seated", (25, 33), (0.79, 0.81)),
        ("pull-trace-ground", "not-seated", (2, 12), (0.79, 0.81)),
        ("pull-trace-seized", "not-seated", (25, 33), (0.79, 0.81)),
        ("pull-trace-short", "not-seated", (25, 33), (0.02, 0.15)),
    ],
)
def test_each_shows_what_its_story_tells(
    answers: dict[str, Json], name: str, plunger: str, amperes: tuple[float, float],
    seconds: tuple[float, float],
) -> None:  # fmt: skip
    """The cause that was put into the circuit is to be seen in what is read."""
    values = {one["check"]: one.get("value") for one in answers[name]["findings"]}
    assert amperes[0] < values["pull-current"] < amperes[1]
    assert seconds[0] < values["pull-pulse-seconds"] < seconds[1]
    assert figure(answers[name], "plunger") == plunger


def test_the_picture_is_whole_and_told_in_words(answers: dict[str, Json]) -> None:
    """A panel a channel with its name and unit, the fit once, no script; title and words first."""
    drawn = picture(answers["pull-trace"], "A pull")
    root = ET.fromstring(drawn)  # noqa: S314 - our own
    assert [child.tag for child in root[:2]] == [f"{NS}title", f"{NS}desc"]
    texts = [one.text or "" for one in root.iter(f"{NS}text")]
    for words in ("pull current (A)", "hold current (A)", "pull volts (V)", "fitted", "recorded"):
        assert texts.count(words) == 1, words
    assert "pull ends: 1.1 s" in (root[1].text or "")
    assert not re.search(r"<script|href|url\(|\son\w+=|style=", drawn)
    assert "<style" not in picture(answers["pull-trace"], "A pull", embed=True)


def test_marks_stand_at_their_moment_and_do_not_touch(answers: dict[str, Json]) -> None:
    """In the order of time from left to right, inside the frame, no words over others."""
    root = ET.fromstring(picture(answers["pull-trace"], "A pull"))  # noqa: S314 - our own
    lines = [one for one in root.iter(f"{NS}line") if one.attrib["class"] == "tw-mark-suspect"]
    places = [float(one.attrib["x1"]) for one in lines]
    assert places == sorted(places)
    assert len(places) == 3
    assert LEFT < places[0] < places[-1] < WIDTH - RIGHT
    words = [one for one in root.iter(f"{NS}text") if "suspect" in one.attrib["class"]]
    rows: dict[str, float] = {}
    for one in words:
        start, long = float(one.attrib["x"]), 6.6 * len(one.text or "")
        start -= long if one.attrib["text-anchor"] == "end" else 0
        assert start >= rows.get(one.attrib["y"], 0)
        rows[one.attrib["y"]] = start + long


def test_the_demo_shows_a_report(run: Callable[..., Result]) -> None:
    """``threewire demo pull-trace``: its story, and what is read."""
    out = run("demo", "pull-trace").stdout
    for words in ("Nobody took", "READ FROM THE RECORDING", "seated"):
        assert words in out
    assert "pull-trace-seized" in run("demo", "--list").stdout
    assert "did you mean 'pull-trace'" in run("demo", "pull-trac").stderr
