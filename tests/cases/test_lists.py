"""Lists of cases: filters, words, and pages that stay right while cases are opened."""

from typing import Any

import pytest
from flask.testing import FlaskClient

from api.cases import Book
from api.cases.case import CasePage
from engine import RequestError
from tests.cases.conftest import CRANKS, MACHINE

pytestmark = pytest.mark.both_databases


def numbers(page: CasePage) -> list[str]:
    """Return the numbers of a page's cases."""
    return [one.number for one in page.cases]


def fill(book: Book, count: int, **texts: str) -> list[str]:
    """Open cases and return their numbers, the newest first."""
    opened = [book.open({"machine": MACHINE, **texts}, "Dana").number for _ in range(count)]
    return opened[::-1]


def walk(book: Book, between: Any = lambda: None, **filters: Any) -> list[list[str]]:
    """Return the pages of a list, doing something between two of them."""
    pages, cursor = [], None
    while True:
        page = book.list(cursor=cursor, **filters)
        pages.append(numbers(page))
        cursor = page.next_cursor
        if cursor is None:
            return pages
        between()


def test_pages_have_every_case_once(book: Book) -> None:
    """Seven cases in pages of three: newest first, none twice, none left out."""
    opened = fill(book, 7)
    assert walk(book, limit=3) == [opened[:3], opened[3:6], opened[6:]]
    assert walk(book, limit=7) == [opened]


def test_cases_opened_and_closed_in_between_shift_no_page(book: Book) -> None:
    """While somebody pages, new cases come and old ones change: the pages stay what they were."""
    opened = fill(book, 6)

    def meanwhile() -> None:
        fill(book, 2)
        book.change(opened[-1], {"complaint": book.get(opened[-1]).complaint + "x"}, "A", None)

    pages = walk(book, meanwhile, limit=2)
    assert [one for page in pages for one in page] == opened


def test_an_empty_store_has_an_empty_list(book: Book) -> None:
    """No cases, no cursor."""
    assert book.list() == CasePage((), None)


def test_state_and_fleet_number_filter(book: Book) -> None:
    """A filter leaves only what fits; two filters hold together."""
    ones, twos = fill(book, 3, fleet_number="L-1"), fill(book, 2, fleet_number="L-2")
    book.close(ones[0], {"cause": "healthy"}, "Dana", None)
    assert numbers(book.list(fleet_number="L-2")) == twos
    assert numbers(book.list(fleet_number="L")) == []
    assert numbers(book.list(state="closed")) == [ones[0]]
    assert numbers(book.list(state="open", fleet_number="L-1")) == ones[1:]
    book.reopen(ones[0], "", "Dana")
    assert numbers(book.list(state="closed")) == []


def test_words_are_found_wherever_they_stand(book: Book) -> None:
    """All words, in any case of letters; what is a wildcard to the store is a character here."""
    book.open({"machine": MACHINE, "complaint": "100x axb"}, "Dana")
    data = {
        "machine": MACHINE, "complaint": "Dies on the hill, 100% a_b \\ Straße",
        "reference": "W-77", "machine_type": "sweeper", "handed_to": "Zora",
    }  # fmt: skip
    wanted = book.open(data, "Dana").number
    for text in ("dies", "HILL dies", "straße", "STRASSE", "W-77", "sweeper", "100%", "a_b", "\\",
                 "zora"):  # fmt: skip
        assert numbers(book.list(text=text)) == [wanted], text
        assert numbers(book.list(text=f"{text} nowhere")) == [], text


def test_a_number_is_found_as_words(book: Book) -> None:
    """The number with its gap brings up the case."""
    wanted = fill(book, 4)[2]
    assert numbers(book.list(text=wanted)) == [wanted]


def test_a_changed_text_is_found_at_once(book: Book, number: str) -> None:
    """The search follows the case."""
    book.change(number, {"reference": "W-78"}, "Dana", 1)
    assert numbers(book.list(text="w-78")) == [number]


def test_an_entry_is_the_case_without_its_findings(book: Book, number: str) -> None:
    """What a list shows of a case is what the case says, leading causes included."""
    case = book.get(number).to_dict()
    assert case.pop("findings")[0]["check"] == CRANKS["check"]
    assert book.list().to_dict()["cases"] == [case]


def test_a_cursor_is_one_that_a_list_gave(book: Book) -> None:
    """A cursor that was cut or made up is refused."""
    fill(book, 3)
    cursor = book.list(limit=1).next_cursor
    assert cursor
    assert numbers(book.list(cursor=cursor, limit=50))  # the page may have another length
    for bad in (cursor[:-2], cursor + "A", "", "é", "MTox"):
        with pytest.raises(RequestError, match="cursor"):
            book.list(cursor=bad)


def test_pages_over_http(client: FlaskClient, opened: Any) -> None:
    """The cursor of one page is the query of the next."""
    addresses = [opened(fleet_number="L-1") for _ in range(3)]
    first = client.get("/v1/cases?limit=2&fleet_number=L-1&state=open&text=l-1").json
    query = {"limit": 2, "fleet_number": "L-1", "state": "open", "text": "l-1"}
    second = client.get("/v1/cases", query_string=query | {"cursor": first["next_cursor"]}).json
    both = [*first["cases"], *second["cases"]]
    found = [f"/v1/cases/{one['number'].replace(' ', '')}" for one in both]
    assert found == addresses[::-1]
    assert second["next_cursor"] is None


def test_a_reference_finds_its_own_job(book: Book) -> None:
    """W-1182 is not W-11820: the whole reference counts, as the whole fleet number does."""
    (wanted,) = fill(book, 1, reference="W-1182")
    fill(book, 1, reference="W-11820")
    assert numbers(book.list(reference="W-1182")) == [wanted]
    assert numbers(book.list(reference="W-118")) == []
