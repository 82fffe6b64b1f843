"""A real ``threewire serve`` for tests and benches: started, asked, stopped, or killed."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import requests

from tests.forking import ROOT, Forked

_ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+")


class Running:
    """A server process in a group of its own, its address, and the lines it has printed.

    It is forked (tests/forking.py), or with ``anew`` started as a user starts it.
    """

    def __init__(
        self, home: Path, *options: str, port: int = 0,
        environment: Mapping[str, str] | None = None, anew: bool = False,
    ) -> None:  # fmt: skip
        self.lines: list[str] = []
        home.mkdir(parents=True, exist_ok=True)
        words = ("serve", "--port", str(port), *options)
        own = {"HOME": str(home), "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"}
        inherited = {k: v for k, v in os.environ.items() if k != "XDG_RUNTIME_DIR"}
        whole = {**inherited, **own, **(environment or {})}
        ours, theirs = os.pipe()
        self.process: subprocess.Popen[bytes] | Forked
        if anew:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "api", *words], cwd=home, env=whole, stdout=theirs,
                stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        else:
            with open(os.devnull, "rb") as nothing:
                self.process = Forked(words, whole, home, (nothing, theirs, theirs))
        os.close(theirs)
        threading.Thread(target=self._collect, args=(ours,), daemon=True).start()
        self.session = requests.Session()
        self.session.trust_env = False
        self.url = self._address()

    def _collect(self, pipe: int) -> None:
        with open(pipe, encoding="utf-8") as stream:
            for line in stream:
                self.lines.append(line)

    def _address(self) -> str:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and self.process.poll() is None:
            if found := _ADDRESS.search("".join(self.lines)):
                return found.group()
            time.sleep(0.02)
        raise AssertionError("".join(self.lines))

    @property
    def port(self) -> int:
        """Return the port it listens on."""
        return int(self.url.rsplit(":", 1)[1])

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> requests.Response:
        """Send one request, a body as JSON, and return the response."""
        data = None if body is None else json.dumps(body).encode()
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        if data is not None:
            named.setdefault("Content-Type", "application/json")
        return self.session.request(method, self.url + path, data=data, headers=named, timeout=30)

    def wait_ready(self, seconds: float = 30, status: int = 200) -> None:
        """Wait until /readyz answers with ``status``; AssertionError when it does not."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            try:
                if self.ask("GET", "/readyz").status_code == status:
                    return
            except requests.RequestException:
                self.session = requests.Session()
                self.session.trust_env = False
            time.sleep(0.05)
        raise AssertionError(f"/readyz did not become {status}: " + "".join(self.lines[-20:]))

    def workers(self) -> list[int]:
        """Return the process ids of the worker processes."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        return [int(number) for number in children.split()]

    def wait_workers(self, count: int, seconds: float = 45) -> list[int]:
        """Return the worker processes' ids once there are ``count``, or what there is then: the
        first that is forked answers /readyz before the next is."""
        deadline = time.monotonic() + seconds
        while len(found := self.workers()) != count and time.monotonic() < deadline:
            time.sleep(0.05)
        return found

    def stop(self) -> int:
        """Ask it to stop and return its exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(30)

    def kill(self) -> None:
        """Kill master and workers at once, as a power cut would end them; the port is free then."""
        ended = self.process.poll() is not None  # another may listen at its port by now
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(30)
        deadline = time.monotonic() + 10  # the master's end is waited for, not the workers'
        while not ended and _listened(self.port) and time.monotonic() < deadline:
            time.sleep(0.01)


def _listened(port: int) -> bool:
    with socket.socket() as client:
        return client.connect_ex(("127.0.0.1", port)) == 0
