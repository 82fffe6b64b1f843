"""The log of a real server: JSON lines, and nothing secret in any of them."""

import json
import socket
from collections.abc import Callable

import pytest
from sqlalchemy import make_url

from tests.server.live.conftest import MACHINE, Starter, bearer
from tests.serving import Running

PASSWORD = "canary-password"  # noqa: S105 - the test's own


def _with_password(store: str) -> str:
    """Return the URL with a password, which PostgreSQL's 'trust' does not ask for."""
    url = make_url(store)
    if url.get_backend_name() == "sqlite":
        return store
    return url.set(password=PASSWORD).render_as_string(hide_password=False)


def _send_secrets(server: Running, key: str) -> None:
    """Send a canary wherever a caller may put something that is its own."""
    case = {"machine": MACHINE, "complaint": "canary-body"}
    assert server.ask("POST", "/v1/cases", case, **bearer(key)).status_code in (201, 422)
    server.ask("POST", "/v1/diagnoses", {"canary-field": "canary-body"}, **bearer(key))
    server.ask("GET", "/v1/cases?text=canary-query", **bearer(key))
    server.ask("GET", "/v1/causes", **bearer("canary-wrong-key"))
    server.ask("GET", "/v1/causes", Authorization="Basic canary-basic")
    server.ask("GET", "/desk", Cookie="threewire=canary-cookie")
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as connection:
        connection.sendall(b"canary-not-http\r\n\r\n")
        connection.recv(4096)


@pytest.mark.both_databases
def test_nothing_secret_is_logged(
    start: Starter, store: str, make_key: Callable[[str, str], str]
) -> None:
    """No key, cookie, body, query or database password is in any line, even at level DEBUG."""
    key = make_key(store, "agent")
    server = start(_with_password(store), "--log-level", "DEBUG")
    _send_secrets(server, key)
    assert server.stop() == 0
    printed = "".join(server.lines)
    assert '"refused":"wrong-key"' in printed
    assert key.rsplit("_", 1)[1] not in printed
    assert "canary" not in printed
    requests = [json.loads(line) for line in server.lines if '"event":"request"' in line]
    assert len(requests) >= 6
    for line in requests:
        assert {"time", "level", "request_id", "method", "path", "status"} <= line.keys()
    assert {line["caller"] for line in requests} >= {"the agent", ""}
