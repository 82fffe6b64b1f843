"""A service on a store, for tests that do bad things to it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.databases import set_up
from tests.serving import Running

Starter = Callable[..., Running]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Starter]:
    """Start a service on a store; what still runs at the end of the test is killed."""
    running: list[Running] = []

    def begin(url: str, *options: str, port: int = 0) -> Running:
        environment = {"THREEWIRE_DATABASE": url, "THREEWIRE_RATE_PER_MINUTE": "1000000"}
        server = Running(tmp_path / "home", *options, port=port, environment=environment)
        running.append(server)
        server.wait_ready()
        return server

    yield begin
    for server in running:
        server.kill()


@pytest.fixture
def store_url(database_url: str) -> str:
    """The URL of a store that is set up."""
    set_up(database_url).close()
    return database_url
