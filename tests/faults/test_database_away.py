"""The database goes away and comes back, or its disk is full: told clearly, nothing lost."""

import os
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import requests

from tests.databases import Server, server, set_up
from tests.faults.conftest import Starter
from tests.faults.writers import MACHINE, Acknowledged, Writer, hold_to

OPEN = {"machine": MACHINE, "complaint": "does not start"}
FINDING = {"check": "fuse-look", "outcome": "intact"}


@pytest.fixture
def own_server() -> Iterator[Server]:
    """A PostgreSQL server that nobody else uses, so that it can be stopped."""
    with server() as running:
        if running is None:
            pytest.skip("PostgreSQL is not installed; .ci/run installs it")
        yield running


def _wait_for(cases: int, seen: Acknowledged) -> None:
    """Return half a second on, or later, when so many cases are written."""
    end = time.monotonic() + 60
    time.sleep(0.5)
    while len(seen.cases) < cases and time.monotonic() < end:
        time.sleep(0.05)


def test_postgresql_gone_and_back(start: Starter, own_server: Server) -> None:
    """503 as a problem while it is away, /readyz red, then green; the writers lose nothing."""
    url = own_server.new_database()
    database = set_up(url)
    running = start(url, "--workers", "2")
    seen = Acknowledged()
    writers = [Writer(running.url, seen) for _ in range(3)]
    for writer in writers:
        writer.start()
    for written in range(1, 4):
        _wait_for(written, seen)
        own_server.stop("immediate")
        running.wait_ready(status=503)
        problem = running.ask("POST", "/v1/cases", OPEN)
        assert problem.status_code == 503
        assert problem.headers["Content-Type"] == "application/problem+json"
        assert problem.headers["Retry-After"]
        assert problem.json()["type"] == "/problems/not-ready"
        # what needs no store goes on
        facts = {"machine": MACHINE, "findings": []}
        assert running.ask("POST", "/v1/diagnoses", facts).status_code == 200
        own_server.start()
        running.wait_ready()
    for writer in writers:
        writer.stopping.set()
        writer.join(60)
        assert writer.surprises == []
    assert hold_to(database, seen)["cases"] >= 3
    database.close()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 2 MiB; skips where this process may not mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("mounting a small file system needs root")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_disk_full(start: Starter, small_disk: Path) -> None:
    """A clear 503 when the disk is full, no corruption, and it goes on once there is room."""
    url = f"sqlite:///{small_disk}/cases.sqlite3"
    database = set_up(url)
    running = start(url)
    number = running.ask("POST", "/v1/cases", OPEN).json()["number"].replace(" ", "")
    # leaves less room than a hundred findings need
    filler = small_disk / "filler"
    filler.write_bytes(b"x" * (os.statvfs(small_disk).f_bavail * 4096 - 100_000))

    def add(count: int) -> requests.Response:
        body = FINDING | {"note": f"{count} " + "x" * 1500}
        return running.ask("POST", f"/v1/cases/{number}/findings", body)

    acknowledged = _fill(add)
    assert running.ask("GET", f"/v1/cases/{number}").status_code == 200
    running.wait_ready(status=503)  # no balancer sends anybody here
    with database.reading() as session:
        assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    filler.unlink()
    running.wait_ready()
    assert add(9999).status_code in (200, 201)
    notes = {one["note"] for one in running.ask("GET", f"/v1/cases/{number}").json()["findings"]}
    assert acknowledged <= notes
    assert len(notes) == len(acknowledged) + 1
    database.close()


def _fill(add: Callable[[int], requests.Response]) -> set[str]:
    """Add findings until the disk is full; return the notes of those acknowledged."""
    acknowledged: set[str] = set()
    for count in range(400):
        answer = add(count)
        if answer.status_code not in (200, 201):
            assert answer.status_code == 503, answer.text
            assert "full" in answer.json()["detail"]
            return acknowledged
        acknowledged.add(f"{count} " + "x" * 1500)
    raise AssertionError("the disk never filled")
