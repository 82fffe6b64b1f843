"""What all tests share: the shipped engine, the two databases, the figures of tests/reference."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from api.store import Database, upgrade
from engine import Diagnoser, Knowledge
from engine.diagnosis import shipped
from tests.databases import KINDS, Server, server
from tests.reference.conftest import pytest_terminal_summary

__all__ = ["pytest_terminal_summary"]


@pytest.fixture(scope="session")
def diagnoser() -> Diagnoser:
    """The engine on the shipped knowledge, with every model that a test had it build."""
    return shipped()


@pytest.fixture(scope="session")
def engine(diagnoser: Diagnoser) -> Diagnoser:
    """The same, under the name that the service's tests use."""
    return diagnoser


@pytest.fixture(scope="session")
def knowledge(diagnoser: Diagnoser) -> Knowledge:
    """The shipped knowledge base."""
    return diagnoser.knowledge


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """A PostgreSQL server of this process's own; skips where there is none."""
    with server() as running:
        if running is None:
            pytest.skip("PostgreSQL is not installed; .ci/run installs it")
        yield running


@pytest.fixture
def new_url(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[str], str]:
    """Return the URL of a new, empty database of a kind."""

    def make(kind: str) -> str:
        if kind == "sqlite":
            return f"sqlite:///{tmp_path}/store/cases.sqlite3"
        server: Server = request.getfixturevalue("postgresql")
        return server.new_database()

    return make


@pytest.fixture(params=KINDS)
def database_url(request: pytest.FixtureRequest, new_url: Callable[[str], str]) -> str:
    """The URL of an empty database; the test runs on SQLite and on PostgreSQL."""
    return new_url(request.param)


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """A store that is set up; the test runs on SQLite and on PostgreSQL."""
    found = Database(database_url)
    upgrade(found)
    yield found
    found.close()
