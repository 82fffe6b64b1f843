"""The engine is asked once for an answer: every page about it shows what was kept."""

import html
import re
from collections.abc import Mapping
from typing import Any

import pytest

from engine import Diagnoser
from tests.desk.support import BRAKE, FUEL, Browser, text_of

FRAGMENTS = ("", "?as=technician", "?check=pull-pin-voltage", "?find=relay", "/drawing",
             "/drawing?check=pull-pin-voltage", "/sheet", "/close", "/hand-over", "/machine",
             "/version?since=1")  # fmt: skip


@pytest.fixture
def asked(engine: Diagnoser, monkeypatch: pytest.MonkeyPatch) -> list[Mapping[str, Any]]:
    """What the engine was asked, in order."""
    found: list[Mapping[str, Any]] = []
    plain = engine.diagnose

    def counted(request: Mapping[str, Any]) -> Any:
        found.append(request)
        return plain(request)

    monkeypatch.setattr(engine, "diagnose", counted)
    return found


@pytest.mark.parametrize("machine", [FUEL, BRAKE], ids=["fuel", "two brakes"])
def test_an_answer_with_all_its_pages_is_one_diagnosis(
    desk: Browser, asked: list[Mapping[str, Any]], machine: dict[str, str]
) -> None:
    """Starting a call, and each answer, asks the engine once; page and fragments ask it nothing."""
    case = desk.start(machine)
    assert len(asked) == 1
    for check in ("relay-click", "fuse-look"):
        asked.clear()
        desk.follow(desk.answer(case, check, outcome="not-known"))
        meaning = re.search(r'data-load="([^"]*/meaning[^"]*)"', desk.page.text)
        assert meaning is not None
        assert "would lead" in text_of(desk.get(html.unescape(meaning[1])))
        for one in FRAGMENTS:
            assert desk.get(case + one).status_code == 200, one
        assert len(asked) == 1, check


def test_a_side_without_answers_is_asked_about_when_it_is_looked_at(
    desk: Browser, asked: list[Mapping[str, Any]]
) -> None:
    """Nothing is kept about a side on which nothing was found: looking at it is one diagnosis."""
    case = desk.start(BRAKE)
    asked.clear()
    assert "Side: left" in text_of(desk.get(f"{case}?side=left"))
    assert len(asked) == 1


def test_an_answer_is_shown_at_its_own_place(desk: Browser) -> None:
    """What is set aside is told at the finding that it is about, on either side, old ones too."""
    case = desk.start(BRAKE)
    for side, fields in (
        ("left", {"value": "0.0"}), ("right", {"value": "0.0", "circumstances": ["no-peak-hold"]}),
    ):  # fmt: skip
        desk.get(f"{case}?side={side}&check=pull-current")
        desk.follow(desk.send(f"{case}/answers", unit="A", **fields))
    rows = desk.page.text.split('<ol class="answers"')[1].split("<li value=")[1:]
    doubted = [one[1] for one in rows if "Set aside" in one]
    assert doubted == ["3"]
