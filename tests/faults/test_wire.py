"""Malformed, oversized, truncated and slow requests on raw sockets, at a real server."""

import json
import random
import re
import socket
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from api.settings import Settings
from tests.bench.cases import EIGHT
from tests.serving import Running

COUNT = 500  # twenty times as many when slow
BODY = json.dumps(EIGHT["fuel, controller"]).encode()
_STATUS = re.compile(rb"HTTP/1\.[01] (\d{3}) ")


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A server with one worker, so that its memory is in one place."""
    unlimited = {"THREEWIRE_RATE_PER_MINUTE": "1000000"}
    folder = tmp_path_factory.mktemp("wire")
    running = Running(folder, "--workers", "1", environment=unlimited)
    running.wait_ready()
    yield running
    running.kill()


def exchange(port: int, raw: bytes, seconds: float = 20) -> bytes:
    """Send bytes, say that no more come, and return all that is answered."""
    with socket.create_connection(("127.0.0.1", port), timeout=seconds) as client:
        try:
            client.sendall(raw)
            client.shutdown(socket.SHUT_WR)
        except OSError:  # refused before it was all sent
            pass
        parts = []
        try:
            while part := client.recv(65536):
                parts.append(part)
        except ConnectionResetError:
            pass
        return b"".join(parts)


def post(body: bytes, *headers: bytes, path: bytes = b"/v1/diagnoses") -> bytes:
    """Return a POST with a body and its length."""
    first = b"POST " + path + b" HTTP/1.1\r\nHost: localhost\r\nConnection: close"
    about = (b"Content-Type: application/json", b"Content-Length: %d" % len(body))
    return b"\r\n".join((first, *about, *headers)) + b"\r\n\r\n" + body


def _flipped(rng: random.Random, raw: bytes) -> bytes:
    changed = bytearray(raw)
    for _ in range(rng.randint(1, 6)):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def _odd(rng: random.Random) -> bytes:
    """Return one malformed request of some kind."""
    deep = rng.choice((50, 2000, 100_000))
    kinds = (
        lambda: _flipped(rng, post(BODY)),
        lambda: post(BODY)[: rng.randrange(5, 500)],
        lambda: post(_flipped(rng, BODY)),
        lambda: rng.randbytes(rng.randint(1, 300)),
        lambda: post(b"[" * deep),
        lambda: post(b'{"a":' * deep),
        lambda: post(BODY, b"X-Long: " + b"a" * rng.choice((100, 9000, 70_000))),
        lambda: post(BODY, *[b"X-%d: y" % n for n in range(rng.choice((50, 150)))]),
        lambda: post(BODY, b"Transfer-Encoding: chunked"),
        lambda: post(BODY, b"Content-Length: 3"),
        lambda: post(b"", b"Content-Encoding: gzip"),
        lambda: b"GET /" + b"../" * rng.randint(1, 300) + b"etc/passwd HTTP/1.1\r\n\r\n",
        lambda: b"GET /reference/%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\nHost: localhost\r\n\r\n",
        lambda: b"GET /v1/causes/%00%0d%0aX-Evil:1 HTTP/1.1\r\nHost: localhost\r\n\r\n",
        lambda: b"GET / HTTP/9.9\r\n\r\n",
        lambda: b"BREW /v1/diagnoses HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n",
        lambda: (
            b"POST /v1/diagnoses HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"
            + rng.choice((b"ZZ\r\n", b"FFFFFFFFFFFFFFFF\r\nx", b"5\r\nab", b"-1\r\n"))
        ),
    )
    return rng.choice(kinds)()


def memory_kib(running: Running) -> int:
    """Return the worker's resident memory in KiB."""
    (worker,) = running.workers()
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{worker}/status").read_text())
    assert found is not None
    return int(found.group(1))


def test_odd_requests(server: Running, enlarged: Callable[[int], int]) -> None:
    """None gives a 500 or hangs; afterwards the same worker answers, no larger than before."""
    rng = random.Random(5)  # noqa: S311 - the same requests each time
    requests = [_odd(rng) for _ in range(enlarged(COUNT))]
    workers = server.workers()
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda raw: exchange(server.port, raw), requests[:500]))
        before = memory_kib(server)
        answers = list(pool.map(lambda raw: exchange(server.port, raw), requests))
    statuses = [int(found.group(1)) for raw in answers if (found := _STATUS.match(raw))]
    assert len(statuses) > len(requests) / 2
    assert sorted(status for status in statuses if status >= 500 and status != 505) == []
    assert not any(b"Evil" in raw.split(b"\r\n\r\n")[0] for raw in answers)
    assert not any(b"root:" in raw for raw in answers)
    assert server.workers() == workers
    assert memory_kib(server) < before + 20_000
    assert server.ask("POST", "/v1/diagnoses", EIGHT["fuel, controller"]).status_code == 200


def test_a_compressed_body_is_not_unpacked(server: Running) -> None:
    """A decompression bomb is refused unread: 415 says that only plain JSON is taken."""
    answer = exchange(server.port, post(b"\x1f\x8b" + b"\0" * 1000, b"Content-Encoding: gzip"))
    assert answer.startswith(b"HTTP/1.1 415 ")
    assert b"application/problem+json" in answer


def test_more_than_a_mebibyte_is_refused(server: Running) -> None:
    """A body over the limit is refused with 413, whether or not it says how long it is."""
    large = b'{"a": "' + b"x" * 1_200_000 + b'"}'
    assert exchange(server.port, post(large)).startswith(b"HTTP/1.1 413 ")
    head = (b"POST /v1/diagnoses HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
            b"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n")  # fmt: skip
    chunk = b"%x\r\n%b\r\n" % (len(large), large)
    assert exchange(server.port, head + chunk + b"0\r\n\r\n").startswith(b"HTTP/1.1 413 ")


def test_clients_that_send_a_byte_now_and_then_do_not_hold_the_service(server: Running) -> None:
    """Two hundred clients that never finish their requests: fifty times as many as there are
    threads, each with five seconds, and yet others are answered before the first is given up."""
    head = b"POST /v1/diagnoses HTTP/1.1\r\nHost: localhost\r\nContent-Length: 500\r\n"
    stalled = []
    for number in range(200):
        client = socket.create_connection(("127.0.0.1", server.port), timeout=60)
        client.sendall(head[: 10 + number % 50] if number % 2 else head + b"\r\n{")
        stalled.append(client)
    try:
        assert exchange(server.port, post(BODY)).startswith(b"HTTP/1.1 200 ")
    finally:
        for client in stalled:
            client.close()


@pytest.mark.parametrize(
    ("raw", "status", "kind"),
    [
        (b"canary\r\n\r\n", 400, "malformed"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n", 400, "malformed"),
        (post(BODY, b"Content-Length: 3"), 400, "malformed"),
        (post(b"ZZ\r\n", b"Transfer-Encoding: chunked"), 400, "malformed"),
        (post(b"x" * 1_200_000), 413, "too-large"),
        (post(BODY, b"X-Long: " + b"a" * 70_000), 431, "header-too-large"),
        (b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n", 431, "header-too-large"),
        (post(BODY, b"Transfer-Encoding: gzip"), 501, "not-implemented"),
    ],
)
def test_what_the_server_refuses_is_a_problem_document(
    server: Running, raw: bytes, status: int, kind: str
) -> None:
    """RFC 9457: a refusal of the HTTP itself has the same form as every other error."""
    head, _, body = exchange(server.port, raw).partition(b"\r\n\r\n")
    found = _STATUS.match(head)
    assert found is not None
    assert int(found.group(1)) == status
    assert b"Content-Type: application/problem+json" in head
    problem = json.loads(body)
    assert (problem["status"], problem["type"]) == (status, f"/problems/{kind}")
    assert problem["request_id"]
    assert b"canary" not in body


def test_batches_that_stall_leave_a_thread(server: Running) -> None:
    """Of as many batches as there are threads the last is told to wait; the service answers while
    the others stall."""
    threads = Settings().threads
    line = b'"' + b"x" * 500_000 + b'"\n'  # gives each a hundred seconds
    head = (b"POST /v1/diagnoses/batch HTTP/1.1\r\nHost: localhost\r\n"
            b"Content-Type: application/x-ndjson\r\nContent-Length: 900000\r\n\r\n")  # fmt: skip
    address = ("127.0.0.1", server.port)
    batches = [socket.create_connection(address, timeout=60) for _ in range(threads)]
    try:
        answers = []
        for batch in batches:
            batch.sendall(head + line)
            answers.append(batch.recv(65536))
        *taken, refused = answers
        assert all(answer.startswith(b"HTTP/1.1 200 ") for answer in taken)
        assert refused.startswith(b"HTTP/1.1 429 ")
        assert b"Retry-After: " in refused
        assert server.ask("GET", "/healthz").status_code == 200
        assert server.ask("POST", "/v1/diagnoses", EIGHT["fuel, controller"]).status_code == 200
        for batch in batches[:-1]:  # none was given up meanwhile
            assert b"ended before it was complete" not in _waiting(batch)
    finally:
        for batch in batches:
            batch.close()


def _waiting(client: socket.socket) -> bytes:
    """Return what has come and is not read yet."""
    client.setblocking(False)
    try:
        return client.recv(65536)
    except BlockingIOError:
        return b""
