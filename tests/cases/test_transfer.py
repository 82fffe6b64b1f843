"""Cases out and in again: whole, with their dates, once however often it is tried."""

from copy import deepcopy
from typing import Any

import pytest

from api.cases import Book
from api.cases.learning import report
from api.cases.lists import Wanted
from api.cases.transfer import bring_in, exported
from api.strict_json import Json
from engine import Diagnoser, Knowledge, RequestError
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS
from tests.databases import set_up


@pytest.fixture
def elsewhere(tmp_path: Any, engine: Diagnoser, knowledge: Knowledge) -> Book:
    """The case book of another installation."""
    database = set_up(f"sqlite:///{tmp_path}/elsewhere.sqlite3")
    return Book(database, engine, knowledge)


@pytest.fixture
def history(book: Book) -> list[Json]:
    """The export of a book with one closed and one open case."""
    told = {"machine": MACHINE, "findings": [CRANKS, VOLTS, AMPS], "reference": "W-1"}
    closed = book.open(told, "Dana via till 3")
    book.withdraw(closed.number, 1, "Ana")
    book.close(closed.number, {"cause": "ground-resistive", "minutes": 35}, "Ana", None)
    book.open({"machine": MACHINE}, "Bo")
    return [one.to_dict() for one in exported(book.database, book.knowledge)]


def test_an_export_has_all_of_a_case(book: Book, history: list[Json]) -> None:
    """Each case is as the service shows it, with every step; a filter leaves the others out."""
    number = history[0]["case"]["number"]
    assert history[0]["case"] == book.get(number).to_dict()
    assert [one["kind"] for one in history[0]["steps"]] == ["opened", "finding-withdrawn", "closed"]
    open_ones = list(exported(book.database, book.knowledge, Wanted("open")))
    assert [one.case.opened_by for one in open_ones] == ["Bo"]


@pytest.mark.both_databases
def test_history_keeps_its_dates_and_comes_once(elsewhere: Book, history: list[Json]) -> None:
    """Brought in, a case has its number, times, names, what counted of it and its end; again, and
    where it came from, nothing is doubled."""
    brought = [bring_in(elsewhere, one) for one in history]
    assert all(brought)
    old, new = history[0]["case"], elsewhere.get(history[0]["case"]["number"]).to_dict()
    for name in ("number", "opened_at", "opened_by", "reference", "machine", "outcome", "state"):
        assert new[name] == old[name], name
    assert new["findings"] == old["findings"]
    assert [bring_in(elsewhere, one) for one in history] == [None, None]
    assert len(elsewhere.list().cases) == 2


def test_what_was_put_right_stays_where_it_was(book: Book, elsewhere: Book) -> None:
    """Behind a finding that was withdrawn, 'after' of what was done counts as it did."""
    done = [{"part": "the ground strap", "after": 1}]
    case = book.open({"machine": MACHINE, "findings": [CRANKS, VOLTS, AMPS], "done": done}, "Bo")
    book.withdraw(case.number, 1, "Ana", "misheard")
    (record,) = exported(book.database, book.knowledge)
    bring_in(elsewhere, record.to_dict())
    assert elsewhere.get(case.number).done == book.get(case.number).done
    assert elsewhere.diagnosis(case.number)["places"] == [2, 3]


def test_an_export_does_no_harm_where_it_was_made(book: Book, history: list[Json]) -> None:
    """A book takes nothing of its own export."""
    assert [bring_in(book, one) for one in history] == [None, None]


def test_what_came_from_elsewhere_teaches_nothing_until_it_is_reviewed(
    elsewhere: Book, history: list[Json]
) -> None:
    """It is listed as imported; an administrator's yes lets it count."""
    bring_in(elsewhere, history[0])
    (reason,) = report(elsewhere.database, elsewhere.knowledge, on=True).not_counted
    assert "imported" in reason.because
    elsewhere.review("yes", number=history[0]["case"]["number"])
    assert report(elsewhere.database, elsewhere.knowledge, on=True).learned_from == 1


def test_a_number_that_is_taken_is_drawn_anew(book: Book, history: list[Json]) -> None:
    """Another case with the same number comes in under one of its own."""
    other = deepcopy(dict(history[0]["case"])) | {"opened_at": "2019-01-02T03:04:05Z"}
    found = bring_in(book, other)
    assert found is not None
    assert found.shown_number != other["number"]
    assert bring_in(book, other) is None


BAD_LINES = (
    ({"opened_at": "yesterday"}, "opened_at"), ({"opened_by": 7}, "opened_by"),
    ({"opened_at": "0001-01-01T00:00:00+05:00"}, "opened_at"),
    ({"machine": {}}, "machine.duty"), ({"imported_as": "x" * 121}, "imported_as"),
    ({"number": None}, "imported_as"), ({"outcome": "fuse-open"}, "outcome"),
    ({"findings": None}, "findings"), ({"findings": 5}, "findings"),
    ({"findings": "abc"}, "findings"), ({"findings": ["x"]}, "findings[0]"),
    ({"findings": [CRANKS | {"withdrawn": "yes"}]}, "findings[0].withdrawn"),
    ({"findings": [CRANKS | {"withdrawn": {"by": 7}}]}, "findings[0].withdrawn.by"),
    ({"findings": [CRANKS | {"at": "noon"}]}, "findings[0].at"),
)  # fmt: skip


def test_too_many_findings_are_not_read(elsewhere: Book, history: list[Json]) -> None:
    """A line of junk gets one fault, not one for each finding."""
    with pytest.raises(RequestError) as told:
        bring_in(elsewhere, {**history[0]["case"], "findings": ["x"] * 501})
    assert [one.path for one in told.value.faults] == ["findings"]


def test_a_bad_line_is_told_and_nothing_kept(elsewhere: Book, history: list[Json]) -> None:
    """Each fault names its place; the book stays empty."""
    for change, path in BAD_LINES:
        with pytest.raises(RequestError) as told:
            bring_in(elsewhere, {**history[0]["case"], **change})
        assert path in [one.path for one in told.value.faults], change
    assert elsewhere.list().cases == ()
