"""Over a real server: answers while lines still come, callers that stall or go, flat memory."""

import itertools
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing

import pytest

from tests.answers.batch.duplex import exchange
from tests.bench.batch import resident
from tests.serving import Running

HEAD = (
    b"POST /v1/diagnoses/batch HTTP/1.1\r\nHost: localhost\r\n"
    b"Content-Type: application/x-ndjson\r\n"
)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A server with one worker of two threads."""
    running = Running(tmp_path_factory.mktemp("home"), "--threads", "2")
    running.wait_ready()
    yield running
    running.kill()


def test_answers_come_while_lines_are_sent(server: Running, good: list[bytes]) -> None:
    """The first answers are there before the last line has been sent."""
    go_on = threading.Event()

    def lines() -> Iterator[bytes]:
        yield from (line + b"\n" for line in good * 4)
        assert go_on.wait(60)
        yield from (line + b"\n" for line in good)

    response, answers = exchange(server.port, lines())
    early = list(itertools.islice(answers, len(good)))
    go_on.set()
    assert response.status == 200
    found = early + list(answers)
    assert len(found) == len(good) * 5
    assert found[: len(good)] == found[-len(good) :]


def test_memory_is_flat_over_many_lines(server: Running) -> None:
    """Lines that are soon answered, 40,000 of them: the server grows by less than 6 MiB."""
    number = 40_000
    response, answers = exchange(server.port, itertools.repeat(b"{}\n" * 50, number // 50))
    first = next(answers)
    next(itertools.islice(answers, 998, None))
    before = resident(server.process.pid)
    count = 1000 + sum(1 for _ in answers)
    assert response.status == 200
    assert json.loads(first)["status"] == 422
    assert count == number
    assert resident(server.process.pid) - before < 6


def _talk(port: int, sent: bytes, close: bool) -> bytes:
    """Send bytes, half close if asked, and return everything that comes back."""
    with closing(socket.create_connection(("127.0.0.1", port), timeout=60)) as connection:
        connection.sendall(sent)
        if close:
            connection.shutdown(socket.SHUT_WR)
        found = b""
        while piece := connection.recv(65536):
            found += piece
        return found


@pytest.mark.parametrize(
    ("sent", "close"),
    [
        (b"Content-Length: 100000\r\n\r\n%b\n", True),  # ends too early
        (b"Content-Length: 100000\r\n\r\n%b\n", False),  # stalls
        (b"Transfer-Encoding: chunked\r\n\r\n800\r\n%b\n", True),
        (b"Transfer-Encoding: chunked\r\n\r\n800\r\n%b\n", False),
        (b"Transfer-Encoding: chunked\r\n\r\nnonsense\r\n%b\n", True),
    ],
)
def test_a_broken_body_ends_in_words(
    server: Running, good: list[bytes], sent: bytes, close: bool
) -> None:
    """A caller that stops half way gets a last line that says so, and holds no thread: the next
    one is served."""
    found = _talk(server.port, HEAD + sent % good[0], close)
    assert found.startswith(b"HTTP/1.1 200")
    assert b"The body ended before it was complete" in found
    assert server.ask("GET", "/healthz").status_code == 200


def test_callers_that_go_away_hold_nothing(server: Running, good: list[bytes]) -> None:
    """Ten callers that send much, read nothing and vanish: both threads serve others at once."""
    for _ in range(10):
        connection = socket.create_connection(("127.0.0.1", server.port), timeout=10)
        body = (good[0] + b"\n") * 20
        connection.sendall(HEAD + b"Content-Length: %d\r\n\r\n" % (len(body) * 50) + body)
        connection.close()
    started = time.monotonic()
    assert server.ask("GET", "/healthz").status_code == 200
    assert time.monotonic() - started < 30
    assert not [line for line in server.lines if "Traceback" in line]
