"""The production server, started as a user starts it."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.serving import Running


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """One server with an empty home directory."""
    running = Running(tmp_path_factory.mktemp("home"), anew=True)
    yield running
    running.kill()


def test_serves_and_logs_and_stops(server: Running, case: dict[str, Any]) -> None:
    """It answers on loopback without a key, logs one JSON line a request, and stops on TERM."""
    assert server.ask("GET", "/readyz").status_code == 200
    answer = server.ask("POST", "/v1/diagnoses", case)
    assert answer.status_code == 200
    assert answer.json()["causes"]
    assert server.ask("POST", "/v1/diagnoses", [1]).status_code == 422
    assert server.stop() == 0
    # every line is JSON, but for what Python itself says of the numbers' files as it ends
    own = [line for line in server.lines if not line.startswith("sys:1: ResourceWarning")]
    logged = [json.loads(line) for line in own]
    seen = [
        (line["method"], line["path"], line["status"], line["caller"])
        for line in logged
        if line["event"] == "request"
    ]
    assert seen == [
        ("GET", "/readyz", 200, ""),
        ("POST", "/v1/diagnoses", 200, "local"),
        ("POST", "/v1/diagnoses", 422, "local"),
    ]
    assert all(line["time"].endswith("Z") for line in logged)
    assert not any("Traceback" in line for line in server.lines)


def test_leaves_nothing_but_the_store(tmp_path: Path) -> None:
    """Without settings the server makes the store, readable by its user alone, and no other file;
    no control socket, and no numbers in the temporary folder once it has stopped."""
    home, temporary = tmp_path / "home", tmp_path / "temporary"
    temporary.mkdir()
    environment = {"TMPDIR": str(temporary), "XDG_DATA_HOME": ""}
    running = Running(home, environment=environment, anew=True)
    try:
        assert running.ask("GET", "/healthz").json() == {"status": "alive"}
    finally:
        assert running.stop() == 0
    files = [file for file in home.rglob("*") if file.is_file()]
    assert {file.parent for file in files} == {home / ".local/share/threewire/store"}
    assert {file.name.removesuffix("-wal").removesuffix("-shm") for file in files} == {
        "cases.sqlite3"
    }
    assert {file.stat().st_mode & 0o077 for file in files} == {0}
    assert list(temporary.iterdir()) == []
