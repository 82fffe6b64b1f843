"""A case book and a client, with the real engine."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from api import create_app
from api.cases import Book
from api.store import Database
from engine import Diagnoser, Knowledge

MACHINE = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
VOLTS = {"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}
AMPS = {"check": "pull-current", "value": 3.1, "unit": "A"}
CRANKS = {"check": "engine-response", "outcome": "cranks-no-start"}
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


class Clock:
    """A clock that a test sets; each look moves it on by a second."""

    def __init__(self) -> None:
        self.at = NOON

    def __call__(self) -> datetime:
        """Return the moment, and move on."""
        self.at += timedelta(seconds=1)
        return self.at


@pytest.fixture
def clock() -> Clock:
    """The clock of ``book``."""
    return Clock()


@pytest.fixture
def book(database: Database, engine: Diagnoser, knowledge: Knowledge, clock: Clock) -> Book:
    """A case book."""
    return Book(database, engine, knowledge, now=clock)


@pytest.fixture
def number(book: Book) -> str:
    """The number of a case with one finding."""
    return book.open({"machine": MACHINE, "findings": [CRANKS]}, "Dana").number


@pytest.fixture
def app(database: Database, engine: Diagnoser, knowledge: Knowledge) -> Flask:
    """The service."""
    return create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "DATABASE": database})


@pytest.fixture
def client(app: Flask) -> Iterator[FlaskClient]:
    """A client of the service."""
    with app.test_client() as found:
        yield found


@pytest.fixture
def opened(client: FlaskClient) -> Callable[..., str]:
    """Open a case over HTTP and return its address."""

    def call(**more: Any) -> str:
        response = client.post("/v1/cases", json={"machine": MACHINE, **more})
        assert response.status_code == 201, response.text
        return response.headers["Location"]

    return call
