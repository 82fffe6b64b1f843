"""Applications that need keys, around one engine."""

from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask

from api import create_app, settings
from api.access import keys
from api.store import Database
from engine import Diagnoser, Knowledge


@pytest.fixture
def make_app(knowledge: Knowledge, engine: Diagnoser) -> Callable[..., Flask]:
    """Make an application on a store, with settings as flags give them."""

    def make(database: Database | None, **flags: Any) -> Flask:
        found = settings.load(flags, environment={})
        ready = {"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "SETTINGS": found}
        return create_app(ready | {"DATABASE": database})

    return make


@pytest.fixture
def app(make_app: Callable[..., Flask], database: Database) -> Flask:
    """An application that needs keys."""
    return make_app(database, require_keys="yes")


@pytest.fixture
def make_key(database: Database) -> Callable[[str], str]:
    """Make a key of a role in the store."""

    def make(role: str) -> str:
        return database.write(lambda session: keys.make(session, f"the {role}", role)[1])

    return make


def bearer(key: str) -> dict[str, str]:
    """Return the header that carries a key."""
    return {"Authorization": f"Bearer {key}"}
