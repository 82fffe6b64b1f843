"""Who calls and when to call back: kept with the case, due in their order, gone with the person."""

from datetime import timedelta

import pytest

from api.cases import Book
from engine import RequestError
from tests.cases.conftest import MACHINE, NOON, Clock

CALLER = {"caller_name": "Quexley", "caller_phone": "555 0142", "caller_place": "north yard"}


def waits(book: Book, at: str, **more: str) -> str:
    """Open a case whose caller waits for a call; return its number."""
    return book.open({"machine": MACHINE, "call_back_at": at, **more}, "Dana").number


@pytest.mark.parametrize(
    ("sent", "kept"),
    [("2026-11-29T14:30:00+02:00", "2026-11-29T12:30:00Z"), ("2026-11-29T14:30Z",
     "2026-11-29T14:30:00Z"), ("", "")],
)  # fmt: skip
def test_a_call_back_time_is_kept_in_utc(book: Book, sent: str, kept: str) -> None:
    """Whatever its zone, a time is kept in UTC, so that times compare as texts."""
    assert book.get(waits(book, sent)).call_back_at == kept


@pytest.mark.parametrize("sent", ["2026-11-29T14:30:00", "tomorrow", "0001-01-01T00:00:00+14:00"])
def test_a_time_without_its_zone_is_refused(book: Book, sent: str) -> None:
    """A time of nowhere, and what is no time, is refused by its field."""
    with pytest.raises(RequestError) as refused:
        waits(book, sent)
    assert [one.path for one in refused.value.faults] == ["call_back_at"]


@pytest.mark.both_databases
def test_callers_are_due_in_their_order(book: Book, clock: Clock) -> None:
    """Who waits longest comes first; who is not due, was called or is closed does not come."""
    early = waits(book, (NOON - timedelta(hours=2)).isoformat())
    later = waits(book, (NOON - timedelta(hours=1)).isoformat())
    longest = waits(book, (NOON - timedelta(days=1)).isoformat())
    waits(book, (NOON + timedelta(days=1)).isoformat())
    book.change(later, {"call_back_at": None}, "Dana", 1)
    assert [one.number for one in book.due()] == [longest, early]
    book.close(early, {"cause": "healthy"}, "Dana", None)
    assert [one.number for one in book.due()] == [longest]
