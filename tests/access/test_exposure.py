"""Where keys are needed: loopback, beyond it, and behind a proxy."""

from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask

from api.access import exposure, keys
from api.store import Database
from tests.access.conftest import bearer


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True), ("127.9.9.9", True), ("::1", True), ("[::1]", True),
        ("localhost", True), ("0.0.0.0", False), ("::", False), ("192.0.2.7", False),  # noqa: S104
        ("localhost.example", False), ("", False), ("127.0.0.1.example", False),
    ],
)  # fmt: skip
def test_what_loopback_is(host: str, loopback: bool) -> None:
    """RFC 1122 section 3.2.1.3 and RFC 4291 section 2.5.3: 127/8 and ::1; all else is beyond."""
    assert exposure.is_loopback(host) is loopback


def test_on_loopback_keys_are_needed_once_one_is_made(
    make_app: Callable[..., Flask],
    database: Database,
    make_key: Callable[[str], str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without keys this machine is served; the first key closes the door, within seconds."""
    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    client = make_app(database).test_client()
    assert client.get("/v1/rules").status_code == 200
    key = make_key("read")
    now[0] += keys.FRESH_SECONDS
    assert client.get("/v1/rules").status_code == 401
    assert client.get("/v1/rules", headers=bearer(key)).status_code == 200


@pytest.mark.parametrize("flags", [{"host": "192.0.2.7"}, {"proxies": 1}, {"require_keys": "yes"}])
def test_elsewhere_they_are_always_needed(
    make_app: Callable[..., Flask], database: Database, flags: dict[str, Any]
) -> None:
    """Beyond loopback, behind a proxy and where asked for, an empty store opens nothing."""
    assert make_app(database, **flags).test_client().get("/v1/rules").status_code == 401


@pytest.mark.parametrize(
    "header",
    [
        {"X-Forwarded-For": "192.0.2.1"}, {"Forwarded": "for=192.0.2.1"}, {"Via": "1.1 x"},
        {"X-Real-IP": "192.0.2.1"}, {"Host": "desk.example"}, {"Host": "192.0.2.7:8000"},
    ],
)  # fmt: skip
def test_without_keys_nothing_comes_through_a_proxy_or_under_another_name(
    make_app: Callable[..., Flask], database: Database, header: dict[str, str]
) -> None:
    """A proxy that nobody told of, and a web page whose name was turned to 127.0.0.1, get 401."""
    client = make_app(database).test_client()
    assert client.get("/v1/rules", headers=header).status_code == 401


@pytest.mark.parametrize("host", ["localhost:8000", "127.0.0.1", "[::1]:8000", "LOCALHOST"])
def test_loopback_names_are_served(
    make_app: Callable[..., Flask], database: Database, host: str
) -> None:
    """The names of this machine for itself, with a port or without, are served without keys."""
    client = make_app(database).test_client()
    assert client.get("/v1/rules", headers={"Host": host}).status_code == 200


def test_the_address_is_taken_from_as_many_proxies_as_are_set(
    make_app: Callable[..., Flask], database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    """With one proxy the last address of X-Forwarded-For counts; a caller cannot put one before."""
    client = make_app(database, proxies=1).test_client()
    forwarded = {"X-Forwarded-For": "198.51.100.9, 203.0.113.5"}
    client.get("/v1/rules", headers=forwarded | bearer("tw_wrong"))
    assert '"address":"203.0.113.5"' in caplog.text
    assert "198.51.100.9" not in caplog.text


def test_tries_from_one_ipv6_site_count_together() -> None:
    """RFC 6177 section 2: a site has at least a /64, so an address of it is no other caller."""
    assert exposure.network("2001:db8::1") == exposure.network("2001:db8::ffff:1")
    assert exposure.network("2001:db8::1") != exposure.network("2001:db8:0:1::1")
    assert exposure.network("192.0.2.1") != exposure.network("192.0.2.2")
