"""The form of a log line, and the question that /readyz asks."""

import json
import logging
import sys
import threading

import pytest

from api.logs import JsonFormatter, LogLine, scrub
from api.store import StoreUnavailableError
from api.store.database import Probe

KEY = "tw_abcdefgh_" + "abcd2345" * 4


def formatted(message: object, *values: object, error: bool = False) -> dict[str, object]:
    """Return what a record becomes."""
    kept = sys.exc_info() if error else None
    record = logging.LogRecord("a", logging.INFO, "f", 1, message, values, kept)  # type: ignore[arg-type]
    line = JsonFormatter().format(record)
    assert "\n" not in line
    found = json.loads(line)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("text", "secret"),
    [
        (f"Authorization: Bearer {KEY}", KEY.split("_")[2]),
        (f"key={KEY}", KEY.split("_")[2]),
        ("Authorization: Basic c2hvcDp0b29s", "c2hvcDp0b29s"),
        ("bearer other-service-token", "other-service-token"),
        ("Cookie: threewire=eyJr.sig; other=1", "eyJr"),
        ("Set-Cookie: threewire=eyJr.sig; HttpOnly", "eyJr"),
        ("('Cookie', 'threewire=eyJr.sig')", "eyJr"),
        ("postgresql+psycopg://shop:tool-shed@db:5432/cases", "tool-shed"),
        ("postgresql://shop:p@ss:w@db/cases", "ss:w"),
        ("connection failed: user=shop password=tool-shed host=db", "tool-shed"),
    ],
)
def test_secrets_are_taken_out_of_any_text(text: str, secret: str) -> None:
    """Keys, credentials of headers, cookies and passwords in URLs never reach a line."""
    assert secret not in scrub(text)
    assert secret not in json.dumps(formatted("%s", text))
    assert secret not in json.dumps(formatted(LogLine(event="x", because=text)))


@pytest.mark.parametrize(
    "text",
    ["Listening at: http://127.0.0.1:8000 (12)", "http://[::1]:8000/v1", "tw_abcdefgh is revoked"],
)
def test_what_is_no_secret_stays(text: str) -> None:
    """Addresses and the part of a key that names it are what an administrator looks for."""
    assert scrub(text) == text


def test_an_unforeseen_error_tells_type_and_place_alone() -> None:
    """Of an exception the line has type, file and line; its message may be a caller's."""
    try:
        {}["canary"]
    except KeyError:
        line = formatted("it failed", error=True)
    assert line["error"] == "KeyError"
    assert "server/test_form.py:" in str(line["at"])
    assert "canary" not in json.dumps(line)


def test_a_line_cannot_be_forged() -> None:
    """A line break in a field stays inside the JSON string of its line."""
    assert formatted(LogLine(event="x", path='a\n{"event":"y"}'))["event"] == "x"


def test_a_librarys_own_slip_costs_no_line() -> None:
    """A message with too few values is written as it stands."""
    assert formatted("%s of %s", "one")["message"] == "%s of %s"


def test_a_hanging_database_does_not_hang_the_probe() -> None:
    """Ten probes of a database that hangs ask it once, and each is told in time."""
    asked, go_on = [], threading.Event()

    def hang() -> None:
        asked.append(1)
        go_on.wait(30)

    probe = Probe(hang)
    assert [probe.ask(0.01) for _ in range(10)] == ["the database does not answer"] * 10
    assert len(asked) == 1
    go_on.set()
    assert probe.ask(10) is None


def test_a_probe_tells_what_is_wrong_and_asks_anew() -> None:
    """A database that is away is told with its reason; once it is back the probe is green."""
    away = [True]

    def ping() -> None:
        if away:
            raise StoreUnavailableError("the database does not answer; nothing was kept")

    probe = Probe(ping)
    assert probe.ask(10) == "the database does not answer; nothing was kept"
    away.clear()
    assert probe.ask(10) is None


def test_a_probe_that_breaks_is_not_green(caplog: pytest.LogCaptureFixture) -> None:
    """An error that nobody foresaw counts as no answer, and the log says where it was."""
    probe = Probe(lambda: 1 / 0)  # type: ignore[arg-type, return-value]
    assert probe.ask(10) == "the question to the database failed"
    assert '"error":"ZeroDivisionError"' in caplog.text
