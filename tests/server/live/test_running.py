"""The service while it runs: reload, stop, its numbers, its keys."""

import json
import os
import re
import signal
import socket
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import requests

from tests.server.live.conftest import QUESTION, Command, Starter, bearer
from tests.serving import Running

MakeKey = Callable[[str, str], str]


@pytest.mark.both_databases
def test_reload_refuses_no_request(start: Starter, store: str, tmp_path: Path) -> None:
    """HUP among 40 requests, each on a connection of its own: all are answered, by new workers."""
    file = tmp_path / "threewire.toml"
    file.write_text("workers = 2\n", encoding="utf-8")
    server = start(store, "--config", str(file))
    before = set(server.wait_workers(2))

    def ask(number: int) -> int:
        if number == 10:
            server.process.send_signal(signal.SIGHUP)
        time.sleep(0.05)
        return requests.post(f"{server.url}/v1/diagnoses", json=QUESTION, timeout=60).status_code

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(ask, range(40))) == [200] * 40
    deadline = time.monotonic() + 45
    while before & set(server.workers()) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert len(before) == 2
    assert not before & set(server.workers())
    server.wait_ready()


def test_a_reload_that_cannot_be_is_logged_and_it_goes_on(
    start: Starter, file_store: str, make_key: MakeKey, tmp_path: Path
) -> None:
    """After HUP with a broken file it goes by the settings it had; with the file mended, by it."""
    key = make_key(file_store, "read")
    file = tmp_path / "threewire.toml"
    file.write_text("rate_per_minute = 77\n", encoding="utf-8")
    server = start(file_store, "--config", str(file))
    file.write_text("rate_per_minut = 88\n", encoding="utf-8")
    server.process.send_signal(signal.SIGHUP)
    assert "'rate_per_minute'" in _wait_for_line(server, "reload-refused")["because"]
    assert _rate(server, key) == 77
    file.write_text("rate_per_minute = 88\n", encoding="utf-8")
    server.process.send_signal(signal.SIGHUP)
    deadline = time.monotonic() + 45
    while (told := _rate(server, key)) != 88 and time.monotonic() < deadline:
        time.sleep(0.5)  # the old worker may still answer
    assert told == 88
    assert _wait_for_line(server, "reloaded")["knowledge_version"]


def test_reload_takes_another_level_of_log_and_number_of_workers(
    start: Starter, file_store: str, tmp_path: Path
) -> None:
    """After HUP with level WARNING and two workers there are two, and requests are not logged."""
    file = tmp_path / "threewire.toml"
    file.write_text("workers = 1\n", encoding="utf-8")
    server = start(file_store, "--config", str(file))
    (before,) = server.workers()
    file.write_text('workers = 2\nlog_level = "WARNING"\n', encoding="utf-8")
    server.process.send_signal(signal.SIGHUP)
    deadline = time.monotonic() + 45
    while before in server.workers() and time.monotonic() < deadline:
        time.sleep(0.1)
    assert len(server.wait_workers(2)) == 2
    assert requests.get(f"{server.url}/v1/rules", timeout=30).status_code == 200
    assert server.stop() == 0
    printed = "".join(server.lines)
    assert '"path":"/readyz"' in printed  # before the reload
    assert '"path":"/v1/rules"' not in printed


def _rate(server: Running, key: str) -> int:
    """Return the rate that an answer tells, asked on a connection of its own."""
    answer = requests.get(f"{server.url}/v1/causes", headers=bearer(key), timeout=30)
    return int(answer.headers["RateLimit-Policy"].partition("q=")[2].partition(";")[0])


def _wait_for_line(server: Running, event: str) -> dict[str, str]:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        for line in list(server.lines):
            if line.startswith("{") and json.loads(line)["event"] == event:
                found: dict[str, str] = json.loads(line)
                return found
        time.sleep(0.05)
    raise AssertionError("".join(server.lines))


def test_stop_ends_after_the_request_under_way(start: Starter, file_store: str) -> None:
    """A request that has begun when TERM comes is answered; then the server ends with status 0."""
    server = start(file_store)
    body = json.dumps(QUESTION).encode()
    head = (
        "POST /v1/diagnoses HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\nExpect: 100-continue\r\n\r\n"
    ).encode()
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as connection:
        connection.sendall(head)
        assert connection.recv(65536) == b"HTTP/1.1 100 Continue\r\n\r\n"  # it has begun
        connection.sendall(body[:10])
        server.process.send_signal(signal.SIGTERM)
        time.sleep(0.7)
        assert server.process.poll() is None
        connection.sendall(body[10:])
        answer = b""
        while part := connection.recv(65536):
            answer += part
    assert answer.startswith(b"HTTP/1.1 200 ")
    assert b'"causes"' in answer
    assert server.process.wait(30) == 0


def test_two_workers_count_together(start: Starter, file_store: str) -> None:
    """Requests spread over two workers are all of them in /metrics, whichever is asked."""
    server = start(file_store, "--workers", "2")
    sent = 0
    while sent < 30 or (len(_who_served(server)) < 2 and sent < 3000):  # one may be up first
        requests.get(f"{server.url}/v1/causes", timeout=30)
        sent += 1
    told = set()
    for _ in range(6):
        page = requests.get(f"{server.url}/metrics", timeout=30).text
        counted = 'threewire_requests_total{method="GET",route="/v1/causes",status="200"} '
        told.add(re.search(rf"^{re.escape(counted)}(.+)$", page, re.MULTILINE)[1])  # type: ignore[index]
    assert len(_who_served(server)) == 2
    assert told == {f"{sent}.0"}


def _who_served(server: Running) -> set[int]:
    lines = [json.loads(line) for line in list(server.lines) if line.startswith("{")]
    return {line["process"] for line in lines if line.get("path") == "/v1/causes"}


def test_probes_need_no_key_and_the_rest_does(
    start: Starter, store: str, make_key: MakeKey
) -> None:
    """/healthz and /readyz answer a balancer; /metrics and the rest ask for a key once one is."""
    key = make_key(store, "read")
    server = start(store)
    ready = server.ask("GET", "/readyz")
    assert ready.status_code == 200
    assert ready.json()["circuits"] > 0
    assert server.ask("GET", "/healthz").json() == {"status": "alive"}
    for path in ("/metrics", "/v1/causes", "/v1/cases"):
        assert server.ask("GET", path).status_code == 401
        assert server.ask("GET", path, **bearer(key)).status_code == 200


def test_a_revoked_key_is_refused_within_five_seconds(
    start: Starter, store: str, make_key: MakeKey, threewire: Command
) -> None:
    """Revoked with the command while two workers run, the key is 401 in both after five seconds."""
    key, other = make_key(store, "agent"), make_key(store, "read")
    server = start(store, "--workers", "2")
    assert server.ask("GET", "/v1/causes", **bearer(key)).status_code == 200
    done = threewire("keys", "revoke", key.split("_")[1], "--database", store)
    assert done.returncode == 0, done.stderr
    time.sleep(5)
    for _ in range(8):
        answer = requests.get(f"{server.url}/v1/causes", headers=bearer(key), timeout=30)
        assert answer.status_code == 401
    assert server.ask("GET", "/v1/causes", **bearer(other)).status_code == 200


def test_the_rate_holds_over_all_workers(
    start: Starter, file_store: str, make_key: MakeKey
) -> None:
    """RFC 6585 section 4: the sixth request of a key with five a minute is 429, with Retry-After
    of at most the twelve seconds in which one more fits."""
    key = make_key(file_store, "read")
    server = start(file_store, "--workers", "2", "--rate-per-minute", "5")
    answers = [
        requests.get(f"{server.url}/v1/causes", headers=bearer(key), timeout=30) for _ in range(6)
    ]
    assert [answer.status_code for answer in answers] == [200] * 5 + [429]
    assert 1 <= int(answers[-1].headers["Retry-After"]) <= 12
    assert answers[-1].headers["Content-Type"] == "application/problem+json"


def test_workers_that_die_are_replaced(start: Starter, file_store: str) -> None:
    """A worker killed outright is replaced and the service answers again by itself."""
    server = start(file_store)
    (before,) = server.workers()
    os.kill(before, signal.SIGKILL)
    deadline = time.monotonic() + 30
    while server.workers() in ([], [before]) and time.monotonic() < deadline:
        time.sleep(0.05)
    server.wait_ready()
    assert before not in server.workers()
