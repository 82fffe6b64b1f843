"""Databases for tests: an SQLite file, and a schema of its own on a real PostgreSQL server."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from uuid import uuid4

import psycopg

from api.store import Database, upgrade

REQUIRED = "TESTS_REQUIRE_POSTGRES"
KINDS = ("sqlite", "postgresql")


def binaries() -> Path | None:
    """Return the folder with PostgreSQL's initdb, Debian's or that on the path.

    None, too, where root has no runuser on the path: PostgreSQL does not run as root.
    """
    if os.geteuid() == 0 and not shutil.which("runuser"):
        return None
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    if found := shutil.which("initdb"):
        folders.insert(0, Path(found).resolve().parent)
    return next((folder for folder in folders if (folder / "initdb").exists()), None)


class Server:
    """A PostgreSQL server of the test's own: trust on a socket of its folder, no network."""

    def __init__(self, folder: Path, bin_folder: Path) -> None:
        self.folder, self._bin = folder, bin_folder
        # PostgreSQL refuses to run as root
        self._as = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._as:
            shutil.chown(folder, "postgres")
        self._run("initdb", "-D", str(folder / "data"), "-U", "postgres", "-A", "trust", "-N")

    def _run(self, program: str, *arguments: str) -> None:
        command = [*self._as, str(self._bin / program), *arguments]
        done = subprocess.run(command, capture_output=True, text=True, check=False, cwd="/")
        if done.returncode:
            raise RuntimeError(f"{program}: {done.stderr or done.stdout}")

    def start(self) -> None:
        """Start the server and wait until it answers."""
        # No test cuts the power, which is all that fsync is for: killed processes lose nothing.
        options = f"-k {self.folder} -c listen_addresses= -c max_connections=200 -c fsync=off"
        log = str(self.folder / "log")
        self._run(
            "pg_ctl", "-D", str(self.folder / "data"), "-l", log, "-o", options, "-w", "start"
        )

    def stop(self, mode: str = "fast") -> None:
        """Stop the server; ``immediate`` is as a power cut."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", mode, "-w", "stop")

    def url(self, database: str = "postgres") -> str:
        """Return the URL of a database on this server."""
        return f"postgresql://postgres@/{database}?host={self.folder}"

    def new_database(self) -> str:
        """Make an empty database and return its URL."""
        name = f"test_{uuid4().hex[:12]}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')
        return self.url(name)

    def new_schema(self) -> str:
        """Make an empty schema, which costs far less, and return a URL that sees it alone."""
        name = f"test_{uuid4().hex[:12]}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f'CREATE SCHEMA "{name}"')
        return f"{self.url()}&options=-csearch_path%3D{name}"


@contextmanager
def server() -> Iterator[Server | None]:
    """Run a server; None where PostgreSQL is not installed and nobody insists."""
    found = binaries()
    if found is None:
        if os.environ.get(REQUIRED):
            raise RuntimeError("PostgreSQL is required and not installed")
        yield None
        return
    folder = Path(tempfile.mkdtemp(prefix="threewire-pg-"))
    try:
        running = Server(folder, found)
        running.start()
        try:
            yield running
        finally:
            running.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def set_up(url: str) -> Database:
    """Return the store at an empty database's URL, with the tables of this program.

    An SQLite file is a copy of one that the migrations made: they run once a process.
    """
    database = Database(url)
    if database.is_sqlite:
        Path(str(database.url.database)).write_bytes(_migrated())
    else:
        upgrade(database)
    return database


@cache
def _migrated() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        database = Database(f"sqlite:///{folder}/cases.sqlite3")
        upgrade(database)
        database.close()
        return Path(folder, "cases.sqlite3").read_bytes()
