"""The production server, started as a user starts it."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]


class Running:
    """A server process, its address, and what it has printed."""

    def __init__(self, home: Path, *options: str) -> None:
        self.lines: list[str] = []
        command = [sys.executable, "-m", "api", "serve", "--port", "0", *options]
        environment = os.environ | {"HOME": str(home), "PYTHONPATH": str(ROOT)}
        environment.pop("XDG_RUNTIME_DIR", None)
        self.process = subprocess.Popen(
            command, cwd=home, env=environment, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        threading.Thread(target=self._collect, daemon=True).start()
        self.url = self._wait_for(r"http://127\.0\.0\.1:\d+")

    def _collect(self) -> None:
        assert self.process.stdout is not None
        with self.process.stdout as stream:
            for line in stream:
                self.lines.append(line)

    def _wait_for(self, pattern: str) -> str:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and self.process.poll() is None:
            found = re.search(pattern, "".join(self.lines))
            if found:
                return found.group()
            time.sleep(0.05)
        raise AssertionError("".join(self.lines))

    def get(self, path: str, data: bytes | None = None) -> tuple[int, Any]:
        """Ask the server and return status and JSON."""
        request = urllib.request.Request(self.url + path, data)  # noqa: S310 - our own server
        request.add_header("Content-Type", "application/json")
        try:
            with urllib.request.urlopen(request, timeout=30) as response:  # noqa: S310
                return response.status, json.load(response)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, json.load(error)

    def stop(self) -> int:
        """Ask it to stop and return its exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(30)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """One server with an empty home directory."""
    running = Running(tmp_path_factory.mktemp("home"))
    yield running
    running.process.kill()
    running.process.wait()


def test_serves_and_logs_and_stops(server: Running, case: dict[str, Any], tmp_path: Path) -> None:
    """It answers on loopback, logs one JSON line a request, writes nothing, and stops on TERM."""
    assert server.get("/readyz")[0] == 200
    status, answer = server.get("/v1/diagnoses", json.dumps(case).encode())
    assert status == 200
    assert answer["causes"]
    assert server.get("/v1/diagnoses", b"{")[0] == 400
    assert server.stop() == 0
    logged = [json.loads(line) for line in server.lines if line.startswith("{")]
    seen = [(line["method"], line["path"], line["status"]) for line in logged]
    assert seen == [
        ("GET", "/readyz", 200), ("POST", "/v1/diagnoses", 200), ("POST", "/v1/diagnoses", 400),
    ]  # fmt: skip
    assert not any("Traceback" in line for line in server.lines)


def test_leaves_no_files_behind(tmp_path: Path) -> None:
    """The server puts no control socket and no other file into home or working directory."""
    running = Running(tmp_path)
    try:
        assert running.get("/healthz") == (200, {"status": "alive"})
        assert list(tmp_path.rglob("*")) == []
    finally:
        assert running.stop() == 0


def test_warns_when_others_can_reach_it(tmp_path: Path) -> None:
    """An address beyond this machine is served only with a warning that there is no login."""
    running = Running.__new__(Running)
    running.lines = []
    command = [sys.executable, "-m", "api", "serve", "--port", "0", "--host", "0.0.0.0"]  # noqa: S104
    process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    try:
        assert "without login" in process.stderr.readline()
    finally:
        process.terminate()
        process.wait(30)
        process.stderr.close()
