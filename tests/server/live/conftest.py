"""Real servers and commands, each with a home, a store and an environment of its own."""

import os
import subprocess
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests import forking
from tests.databases import set_up
from tests.serving import ROOT, Running

Starter = Callable[..., Running]
Command = Callable[..., subprocess.CompletedProcess[str]]
MACHINE = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
QUESTION: dict[str, Any] = {"machine": MACHINE, "findings": []}


@pytest.fixture
def store(database_url: str) -> str:
    """The URL of a store that is set up."""
    set_up(database_url).close()
    return database_url


@pytest.fixture
def file_store(tmp_path: Path) -> str:
    """The URL of an SQLite store that is set up, for what the kind of database does not touch."""
    url = f"sqlite:///{tmp_path}/cases/cases.sqlite3"
    set_up(url).close()
    return url


@pytest.fixture
def threewire(tmp_path: Path) -> Command:
    """Run a command to its end and return how it ended and what it said."""

    def run(
        *arguments: str, environment: Mapping[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        home = tmp_path / "home"
        home.mkdir(exist_ok=True)
        inherited = {k: v for k, v in os.environ.items() if not k.startswith("THREEWIRE_")}
        own = {"HOME": str(home), "PYTHONPATH": str(ROOT), "COLUMNS": "200"}
        done = forking.run(
            *arguments, folder=home, environment={**inherited, **own, **(environment or {})}
        )
        return subprocess.CompletedProcess(
            done.args, done.returncode, done.stdout.decode(), done.stderr.decode()
        )

    return run


@pytest.fixture
def make_key(threewire: Command) -> Callable[[str, str], str]:
    """Make a key of a role with the command, as an administrator does."""

    def make(url: str, role: str) -> str:
        done = threewire("keys", "make", "--role", role, "--name", f"the {role}", "--database", url)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    return make


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Starter]:
    """Start a service on a store; what still runs at the end of the test is killed."""
    running: list[Running] = []

    def begin(url: str, *options: str, environment: Mapping[str, str] | None = None) -> Running:
        given = {"THREEWIRE_DATABASE": url, **(environment or {})}
        server = Running(tmp_path / "home", *options, environment=given)
        running.append(server)
        server.wait_ready()
        return server

    yield begin
    for server in running:
        server.kill()


def bearer(key: str) -> dict[str, str]:
    """Return the header that carries a key."""
    return {"Authorization": f"Bearer {key}"}
