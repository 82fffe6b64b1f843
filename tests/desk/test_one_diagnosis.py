"""The engine is asked once for an answer: every page about it shows what was kept."""

import html
import re
import sys
from collections import Counter
from collections.abc import Mapping
from types import FrameType
from typing import Any

import pytest
from sqlalchemy import event

from api.cases import Book
from api.desk.answering import IN_PLACE
from api.store import Database
from engine import Diagnoser
from tests.desk.support import BRAKE, FUEL, Browser, text_of
from tests.sweeps import swept

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


@pytest.mark.parametrize("machine", swept([BRAKE, FUEL], 2))
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
    """Nothing was found on a side: the first look at it is one diagnosis, and any other is none."""
    case = desk.start(BRAKE)
    asked.clear()
    assert "Side: left" in text_of(desk.get(f"{case}?side=left"))
    assert len(asked) == 1
    for one in ("", "/drawing", "/sheet", "/close"):
        desk.get(f"{case}{one}?side=left")
    desk.get(f"{case}/meaning?side=left&check=fuse-look")
    assert len(asked) == 1


def test_nothing_at_hand_and_a_check_out_of_turn_ask_nothing(
    desk: Browser, asked: list[Mapping[str, Any]]
) -> None:
    """What more there would be with everything at hand is kept too; any check's meaning is told."""
    case = desk.start(FUEL, hands="1")
    asked.clear()
    for one in ("", "/sheet", "?check=pull-pin-voltage"):
        assert desk.get(case + one).status_code == 200
    assert "Next checks" in text_of(desk.get(f"{case}/sheet"))
    for check in ("relay-click", "pull-pin-voltage"):
        assert "would lead" in text_of(desk.get(f"{case}/meaning?check={check}"))
    assert not asked


def test_an_answer_reads_its_findings_once_before_they_are_written(
    desk: Browser, store: Database
) -> None:
    """As the case is opened, and as it is written: once each, however much the page shows."""
    case = desk.start(FUEL)
    desk.join(case, "relay-click")
    read = list[str]()
    event.listen(store.engine, "before_cursor_execute", lambda *given: read.append(given[2]))
    sent = {**desk.hidden(f"{case}/answers"), "outcome": "not-known"}
    page = desk.client.post(f"{case}/answers", data=sent, headers={IN_PLACE: "1"})
    assert page.status_code == 200
    assert 'data-version="2"' in page.text
    assert sum("FROM case_findings" in one for one in read) == 2


def test_work_of_a_page_grows_no_faster_than_the_findings(
    desk: Browser, store: Database, engine: Diagnoser
) -> None:
    """240 findings: under ten times the function calls of 30, and they are read as often."""
    cases = [_opened(store, engine, count) for count in (30, 240)]
    for one in cases:
        desk.join(f"/desk/cases/{one}", "fuse-look")
    for page in swept(("", "/drawing?check=relay-click", "/sheet", "?check=fuse-look"), 4):
        small, large = (_work(desk, one, store, page) for one in cases)
        assert large[0] < 10 * small[0], page
        assert large[1] == small[1] > 0, page


def _opened(store: Database, engine: Diagnoser, count: int) -> str:
    checks = (("pull-pin-voltage", 11.2, "V"), ("pull-current", 31.0, "A"))
    findings = [
        {"check": check, "value": round(value * (1 + 0.001 * n), 4), "unit": unit}
        for n in range(count // 2) for check, value, unit in checks
    ]  # fmt: skip
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
    book = Book(store, engine, engine.knowledge)
    return book.open({"machine": machine, "findings": findings}, "Dana").number


def _work(desk: Browser, number: str, store: Database, page: str) -> tuple[int, int]:
    """Return how many functions making a page calls, and how often findings are read."""
    address = f"/desk/cases/{number}{page}"
    desk.get(address)  # templates, models and tables are made once
    calls, statements = Counter[str](), list[str]()

    def counted(_frame: FrameType, kind: str, _: object) -> None:
        calls[kind] += 1

    def told(*given: Any) -> None:
        statements.append(given[2])

    event.listen(store.engine, "before_cursor_execute", told)
    sys.setprofile(counted)
    try:
        response = desk.get(address)
    finally:
        sys.setprofile(None)
        event.remove(store.engine, "before_cursor_execute", told)
    assert response.status_code == 200
    return calls["call"], sum("FROM case_findings" in one for one in statements)


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
