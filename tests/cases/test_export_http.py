"""Cases over HTTP, many at once: as lines that can be brought in again, and as a table."""

import csv
import io
import json

from flask import Flask
from flask.testing import FlaskClient

from api.cases import Book
from api.cases.transfer import exported
from api.web.batch import Places
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS

LINES, TABLE = "/v1/cases/export.ndjson", "/v1/cases/export.csv"


def filled(book: Book) -> tuple[str, str]:
    """Keep a closed case with a withdrawn finding and an open one; return their numbers."""
    told = {"machine": MACHINE, "findings": [CRANKS, VOLTS, AMPS], "reference": "=1+1"}
    closed = book.open(told, "Dana").number
    book.withdraw(closed, 2, "Ana", "wrong pin")
    book.close(closed, {"cause": "ground-resistive", "replaced": ["strap", "eye"]}, "Bo", None)
    return closed, book.open({"machine": MACHINE, "fleet_number": "L-07"}, "Dana").number


def test_lines_are_the_command_s_own(client: FlaskClient, book: Book) -> None:
    """Each case comes with its steps, oldest first, as 'db export' writes it; filters hold."""
    closed, opened = filled(book)
    answer = client.get(LINES)
    assert (answer.status_code, answer.mimetype) == (200, "application/x-ndjson")
    told = [json.loads(line) for line in answer.data.splitlines()]
    assert told == [one.to_dict() for one in exported(book.database, book.knowledge)]
    assert [one["case"]["number"].replace(" ", "") for one in told] == [closed, opened]
    (only,) = client.get(LINES, query_string={"fleet_number": "L-07"}).data.splitlines()
    assert json.loads(only) == told[1]
    assert client.get(LINES, query_string={"state": "opne"}).status_code == 422


def test_a_table_has_a_row_a_case_and_no_formula(client: FlaskClient, book: Book) -> None:
    """What counts of the findings, the leading cause and the end stand in the row; what a
    spreadsheet would run has an apostrophe in front."""
    filled(book)
    answer = client.get(TABLE, query_string={"state": "closed"})
    assert answer.headers["Content-Disposition"] == 'attachment; filename="cases.csv"'
    (row,) = csv.DictReader(io.StringIO(answer.text, newline=""))
    assert (row["reference"], row["cause"], row["replaced"]) == (
        "'=1+1", "ground-resistive", "strap; eye"
    )  # fmt: skip
    assert "pull-current 3.1 A" in row["findings"]
    assert "11.4" not in row["findings"]
    assert row["leading_cause"]
    whole = client.get(TABLE).text
    assert len(list(csv.reader(io.StringIO(whole, newline="")))) == 3


def test_an_export_takes_the_place_of_a_batch(app: Flask, client: FlaskClient, book: Book) -> None:
    """Where every place is taken it is told when to come again; the next one gives its own back."""
    filled(book)
    assert client.get(TABLE).status_code == client.get(TABLE).status_code == 200
    full = Places(1)
    done = full.take("another")
    app.extensions["threewire"].cache["batches"] = full
    assert client.get(LINES).headers["Retry-After"] == "10"
    assert done is not None
    done()
    assert client.get(LINES).status_code == 200
