"""Work orders: the same case as JSON, as a row of a table and as a page to print."""

import csv
import io
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.cases import Book
from api.cases.table import COLUMNS
from api.cases.work_order import DEFERS, csv_text, html_text
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS


def row_of(text: str) -> dict[str, str]:
    """Read the one row of a table as a spreadsheet does (RFC 4180)."""
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    return row


@pytest.fixture
def closed(book: Book) -> str:
    """The number of a closed case with a withdrawn finding."""
    number = book.open(
        {"machine": MACHINE, "fleet_number": "L-07", "machine_type": "sweeper",
         "complaint": 'Dies, says "Bo";\nsince rain', "findings": [CRANKS, VOLTS, AMPS]}, "Dana",
    ).number  # fmt: skip
    book.withdraw(number, 2, "Ana", "wrong pin")
    book.close(number, {"cause": "ground-resistive", "replaced": ["strap", "eye"], "minutes": 40,
                        "note": "paint under the eye"}, "Bo", None)  # fmt: skip
    return number


def test_the_row_says_what_the_case_says(book: Book, closed: str) -> None:
    """Quotes, lines and commas survive; what was withdrawn is not in the row."""
    row = row_of(csv_text(book.work_order(closed)))
    assert list(row) == list(COLUMNS)
    case = book.get(closed).to_dict()
    for name in ("number", "fleet_number", "complaint", "opened_by", "changed_at", "state"):
        assert row[name] == case[name]
    assert "pull-current 3.1 A" in row["findings"]
    assert "11.4" not in row["findings"]
    assert (row["cause"], row["replaced"], row["minutes"]) == (
        "ground-resistive",
        "strap; eye",
        "40",
    )


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "\u00a0=1", "\uff1d1",
     ";=1", "\"=1", "'=1", "\u200b=1", "\u2060\u202d+1", ",;@1",
     "=HYPERLINK(\"http://x\")", "-2+3+cmd|' /C calc'!A0"],
)  # fmt: skip
def test_no_cell_is_a_formula(book: Book, text: str) -> None:
    """No cell starts as a formula does (OWASP, CSV Injection), whoever typed it."""
    line = text.strip("\t\r\n")
    number = book.open(
        {"machine": MACHINE, "complaint": text, "reference": line, "fleet_number": line[:40],
         "handed_to": line, "machine_type": line}, line,
    ).number  # fmt: skip
    book.close(number, {"cause": "unknown", "replaced": [line], "note": text}, "x", None)
    row = row_of(csv_text(book.work_order(number)))
    for name in ("complaint", "reference", "fleet_number", "handed_to", "opened_by", "replaced",
                 "note"):  # fmt: skip
        assert row[name].startswith("'"), name
    for cell in row.values():
        assert not cell.strip("\t\r\n \u00a0\ufeff").startswith(("=", "+", "-", "@", "\uff1d"))


def test_the_page_shows_text_as_text(book: Book) -> None:
    """What people typed is never markup."""
    bad = "<script>alert(1)</script>"
    number = book.open({"machine": MACHINE, "complaint": bad, "findings": [CRANKS | {"note": bad}]},
                       bad).number  # fmt: skip
    page = html_text(book.work_order(number))
    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 4  # complaint, note, and its author twice


def test_the_page_has_cautions_causes_and_what_wins(book: Book, closed: str) -> None:
    """Every remedy and check on the sheet comes with its cautions; the maker's manual wins."""
    order = book.work_order(closed).to_dict()
    page = html_text(book.work_order(closed))
    for part in (*order["causes"], *order["next_checks"]):
        for text in part["cautions"]:
            assert text.replace("'", "&#39;") in page
    assert any(one["cautions"] for one in order["causes"])
    assert DEFERS.replace("'", "&#39;") in page
    assert "Resistive ground" in page
    assert "withdrawn by Ana: wrong pin" in page


def test_work_order_json_is_the_engines_answer(book: Book, closed: str) -> None:
    """Probabilities and remedies are those of the present diagnosis."""
    order, answer = book.work_order(closed).to_dict(), book.diagnosis(closed)
    assert [one["probability"] for one in order["causes"]] == [
        one["probability"] for one in answer["causes"][:3]
    ]
    assert order["outcome"]["cause_name"] == book.knowledge.causes["ground-resistive"].name
    assert [one["found"] for one in order["findings"]][1:] == ["11.4 V", "3.1 A"]


@pytest.mark.parametrize(
    ("form", "kind"), [("json", "application/json"), ("csv", "text/csv"), ("html", "text/html")]
)
def test_forms_over_http(client: FlaskClient, opened: Any, form: str, kind: str) -> None:
    """The form is in the address; a caller who does not take it is told."""
    address = f"{opened()}/work-order.{form}"
    response = client.get(address)
    assert (response.status_code, response.mimetype) == (200, kind)
    assert client.get(address, headers={"Accept": "image/png"}).status_code == 406
    if form == "csv":
        assert response.headers["Content-Disposition"].startswith('attachment; filename="case-')
    if form == "html":
        assert "default-src 'none'" in response.headers["Content-Security-Policy"]


def test_a_closed_sheet_tells_what_spoke_against_the_cause_that_it_was(book: Book) -> None:
    """Also of a cause so unlikely that the open case kept no evidence on it."""
    number = book.open({"machine": MACHINE, "findings": [CRANKS, VOLTS, AMPS]}, "Dana").number
    causes = book.diagnosed(number).diagnosis.answer["causes"]
    unlikely = next(one for one in reversed(causes) if one["section"] != "outside")
    assert causes[0]["evidence"]
    assert not unlikely["evidence"]
    book.close(number, {"cause": unlikely["id"]}, "Bo", None)
    assert {one["direction"] for one in book.work_order(number).evidence} == {"against"}
