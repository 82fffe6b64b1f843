"""The history is read page by page, whole and in order."""

import pytest
from sqlalchemy import event

from api.cases import Book, lists
from api.store.models import CaseRow
from tests.cases.replay.conftest import HISTORY

pytestmark = pytest.mark.both_databases


def test_every_closed_case_once(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the size of a page, each closed case comes once, in the order of opening, and the
    open one does not."""
    for page in (1, 2, len(HISTORY), 100):
        monkeypatch.setattr(lists, "PAGE", page)
        found = [case.outcome.cause for case in lists.closed_cases(book.database) if case.outcome]
        assert found == [cause for _, cause in HISTORY], page


def test_no_more_than_a_page_is_held(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows are loaded as they are asked for: after the first case one page of two is."""
    monkeypatch.setattr(lists, "PAGE", 2)
    loaded = []

    def count(case: CaseRow, _: object) -> None:
        loaded.append(case.order)

    event.listen(CaseRow, "load", count)
    try:
        cases = lists.closed_cases(book.database)
        next(cases)
        assert len(loaded) == 2
        assert sum(1 for _ in cases) == len(HISTORY) - 1
    finally:
        event.remove(CaseRow, "load", count)


def test_what_is_closed_meanwhile_does_not_disturb(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A case that is reopened behind, or opened and closed after the start, changes nothing."""
    monkeypatch.setattr(lists, "PAGE", 1)
    cases = lists.closed_cases(book.database)
    first = next(cases)
    book.reopen(first.number, "the same again", "yard")
    new = book.open({"machine": dict(first.machine), "findings": []}, by="yard")
    book.close(new.number, {"cause": "unknown"}, "yard", None)
    assert sum(1 for _ in cases) == len(HISTORY) - 1
