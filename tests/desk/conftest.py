"""The desk on a store of its own, asked as a browser asks it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask

from api import create_app, settings
from api.store import Database
from engine import Diagnoser, Knowledge
from tests.databases import set_up
from tests.desk.support import Browser


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    """An SQLite store; the case book itself is tested on both databases elsewhere."""
    found = set_up(f"sqlite:///{tmp_path}/store/cases.sqlite3")
    yield found
    found.close()


@pytest.fixture
def app(knowledge: Knowledge, engine: Diagnoser, store: Database) -> Flask:
    """The application as it is on loopback, without keys."""
    found = settings.load({"database": str(store.url)}, environment={})
    return create_app(
        {"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "SETTINGS": found, "DATABASE": store}
    )


@pytest.fixture
def desk(app: Flask) -> Browser:
    """A browser at the desk."""
    return Browser(app)
