"""A store with closed cases, made as the service makes them."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from api.cases import Book
from api.store import Database
from engine import Diagnoser, Knowledge
from tests.curation.shop import Shop

MACHINE = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
CRANKS = {"check": "engine-response", "outcome": "cranks-no-start"}
AMPS = {"check": "pull-current", "value": 3.1, "unit": "A"}
VOLTS = {"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}
# what was found, and what it was
HISTORY = (
    ([CRANKS, VOLTS, AMPS], "ground-resistive"),
    ([CRANKS, VOLTS], "ground-resistive"),
    ([CRANKS], "relay-contacts-open"),
    ([CRANKS, AMPS], "pull-wire-resistive"),
    ([VOLTS], "unknown"),
    ([CRANKS], "healthy"),
)


WRITTEN: list[bytes] = []


@pytest.fixture
def shop(tmp_path: Path, knowledge: Knowledge) -> Shop:
    """A folder of a shop's own knowledge."""
    return Shop(tmp_path / "shop", knowledge)


@pytest.fixture
def book(database: Database, engine: Diagnoser, knowledge: Knowledge) -> Book:
    """A case book with HISTORY in it, and one case that is still open.

    It is written once a process; later SQLite stores are copies.
    """
    made, file = Book(database, engine, knowledge), str(database.url.database)
    if database.is_sqlite and WRITTEN:
        Path(file).write_bytes(WRITTEN[0])
        return made
    for findings, cause in HISTORY:
        case = made.open({"machine": MACHINE, "findings": findings}, by="yard")
        made.close(case.number, {"cause": cause}, "yard", None)
    made.open({"machine": MACHINE, "findings": [CRANKS]}, by="yard")
    if database.is_sqlite:
        with closing(sqlite3.connect(file)) as store:
            WRITTEN.append(store.serialize())
    return made
