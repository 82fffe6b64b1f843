"""Request ids, security headers and the access log."""

import json
import logging
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.web import prometheus
from engine import Knowledge

PATHS = ["/healthz", "/readyz", "/openapi.json", "/v1/causes", "/v1/rules", "/nowhere"]


@pytest.mark.parametrize("offered", ["a", "order-17.b_3", "A" * 64, "0"])
def test_harmless_request_id_is_kept(client: FlaskClient, offered: str) -> None:
    """A caller can follow a request by an id of its own."""
    response = client.get("/healthz", headers={"X-Request-Id": offered})
    assert response.headers["X-Request-Id"] == offered


@pytest.mark.parametrize("offered", ["", "A" * 65, "a b", "a;b", "-a", "a\tb", "<x>", "é", "a%0ab"])
def test_other_request_ids_are_replaced(client: FlaskClient, offered: str) -> None:
    """An id that is long, or could break a log or a header, is not passed on."""
    got = client.get("/healthz", headers={"X-Request-Id": offered}).headers["X-Request-Id"]
    assert got != offered
    assert len(got) == 32
    assert got.isalnum()


@pytest.mark.parametrize("path", PATHS)
def test_security_headers_everywhere(client: FlaskClient, path: str) -> None:
    """Every answer, errors too, forbids sniffing, framing and running anything."""
    headers = client.get(path).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert headers["Cache-Control"] in ("no-store", "no-cache")


def test_diagnoses_are_not_stored(post: Callable[..., Any], case: dict[str, Any]) -> None:
    """A diagnosis is about one machine on one day: no cache keeps it."""
    assert post(case).headers["Cache-Control"] == "no-store"


def test_knowledge_is_revalidated_by_etag(client: FlaskClient) -> None:
    """RFC 9110 section 13.1.2: a client that holds the current list is told 304, without a body."""
    etag = client.get("/v1/causes").headers["ETag"]
    again = client.get("/v1/causes", headers={"If-None-Match": etag})
    assert (again.status_code, again.data) == (304, b"")
    assert client.get("/v1/checks").headers["ETag"] != etag


def test_a_reader_who_wants_what_is_no_more_is_told(client: FlaskClient) -> None:
    """RFC 9110 section 13.1.1: 412 where no tag that If-Match names is the present one; with * what
    there is is read. Section 13.2.2: it goes before If-None-Match."""
    etag = client.get("/v1/causes").headers["ETag"]
    other = client.get("/v1/causes", headers={"If-Match": '"x"', "If-None-Match": etag})
    assert (other.status_code, other.mimetype) == (412, "application/problem+json")
    for good in (etag, f'"x", {etag}', "*"):
        assert client.get("/v1/causes", headers={"If-Match": good}).status_code == 200, good


def test_access_log_is_one_line_of_json_without_the_body(
    post: Callable[..., Any], case: dict[str, Any], caplog: pytest.LogCaptureFixture
) -> None:
    """Each request leaves one line with id, method, path, status and time, and nothing it sent."""
    caplog.set_level(logging.INFO, "threewire.api")
    post(case, headers={"X-Request-Id": "log-1"}, query_string={"secret": "word"})
    (record,) = [record for record in caplog.records if record.name == "threewire.api"]
    line = json.loads(record.getMessage())
    fields = {"event", "request_id", "caller", "method", "path", "status", "milliseconds"}
    assert set(line) == fields
    assert (line["request_id"], line["method"], line["path"]) == ("log-1", "POST", "/v1/diagnoses")
    assert line["milliseconds"] >= 0
    for sent in ("pull-pin-voltage", "secret", "word"):
        assert sent not in record.getMessage()


def test_log_line_cannot_be_forged(client: FlaskClient, caplog: pytest.LogCaptureFixture) -> None:
    """A path with a line break in it stays inside its own log line."""
    caplog.set_level(logging.INFO, "threewire.api")
    client.get("/x%0a%7b%22status%22:200%7d")
    (record,) = [record for record in caplog.records if record.name == "threewire.api"]
    assert "\n" not in record.getMessage()


def test_a_store_that_is_down_is_not_read(knowledge: Knowledge) -> None:
    """Once it is known that the store takes nothing, /metrics says so and waits for it no more."""
    away = SimpleNamespace(knowledge=knowledge, database=object(), store_fault=lambda: "full")
    assert "threewire_store_up 0.0" in prometheus.page(away)
