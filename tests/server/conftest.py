"""Servers for the tests of operation: started as an administrator starts them."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from api.access import keys
from tests import forking
from tests.databases import set_up
from tests.serving import ROOT, Running


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., Running]]:
    """Start servers with options and environment; they are killed at the end."""
    started: list[Running] = []

    def start(*options: str, **environment: str) -> Running:
        running = Running(tmp_path / "home", *options, environment=environment)
        started.append(running)
        return running

    yield start
    for running in started:
        running.kill()


@pytest.fixture
def refused(tmp_path: Path) -> Callable[..., tuple[int, str]]:
    """Run a command that should end by itself; return exit status and what it said of why."""

    def run(*arguments: str, **environment: str) -> tuple[int, str]:
        own = {"HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": ""}
        done = forking.run(*arguments, environment={**os.environ, **own, **environment})
        assert b"Traceback" not in done.stdout + done.stderr
        return done.returncode, done.stderr.decode()

    return run


@pytest.fixture
def store_with_key(database_url: str) -> tuple[str, str]:
    """The URL of a store that is set up, and a key of it."""
    database = set_up(database_url)
    key = database.write(lambda session: keys.make(session, "shop", "agent")[1])
    database.close()
    return database_url, key
