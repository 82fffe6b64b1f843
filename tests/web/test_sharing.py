"""Other origins, smaller answers, host names and traces: off until a setting says so."""

import gzip
import json
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.settings import load
from engine import Diagnoser, Knowledge
from tests.databases import set_up

PAGE = "https://till.example.org"
ASKS = {"Origin": PAGE, "Access-Control-Request-Method": "POST"}
LONG = "/v1/rules"
Make = Callable[..., FlaskClient]


@pytest.fixture
def make(tmp_path: Path, knowledge: Knowledge, engine: Diagnoser) -> Make:
    """Return a client of a service with some settings."""
    database = set_up(f"sqlite:///{tmp_path}/cases.sqlite3")

    def call(**settings: Any) -> FlaskClient:
        found = load(settings, environment={})
        return create_app(
            {"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "SETTINGS": found, "DATABASE": database}
        ).test_client()

    return call


def test_no_other_origin_is_let_in_by_itself(make: Make) -> None:
    """Without the setting no answer says that a page of another origin may read it."""
    answer = make().get("/healthz", headers={"Origin": PAGE})
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_a_listed_origin_may_ask_and_read(make: Make) -> None:
    """Its preflight needs no key, and its answers name it and no other (Fetch standard, CORS)."""
    client = make(cors_origins=[PAGE])
    asked = client.options("/v1/diagnoses", headers=ASKS)
    assert asked.status_code == 204
    assert asked.headers["Access-Control-Allow-Origin"] == PAGE
    assert "Authorization" in asked.headers["Access-Control-Allow-Headers"]
    assert "Access-Control-Allow-Credentials" not in asked.headers
    read = client.get("/healthz", headers={"Origin": PAGE})
    assert read.headers["Access-Control-Allow-Origin"] == PAGE
    assert "Origin" in read.headers["Vary"]


@pytest.mark.parametrize(
    "origin", ["https://till.example.org.evil.test", "null", "http://till.example.org"]
)
def test_an_origin_that_is_nearly_listed_is_not(make: Make, origin: str) -> None:
    """The whole origin counts, its scheme too."""
    client = make(cors_origins=[PAGE])
    asked = client.options("/v1/diagnoses", headers=ASKS | {"Origin": origin})
    assert "Access-Control-Allow-Origin" not in asked.headers


def test_json_is_compressed_for_who_takes_it(make: Make) -> None:
    """The same bytes come out of it, the tag is weak, and a caller without gzip gets them plain."""
    client = make(compress="yes")
    plain = client.get(LONG)
    small = client.get(LONG, headers={"Accept-Encoding": "gzip"})
    assert small.headers["Content-Encoding"] == "gzip"
    assert len(small.data) < len(plain.data) / 3
    assert json.loads(gzip.decompress(small.data)) == plain.json
    assert small.headers["ETag"] == f"W/{plain.headers['ETag']}"
    again = {"Accept-Encoding": "gzip", "If-None-Match": small.headers["ETag"]}
    assert client.get(LONG, headers=again).status_code == 304
    assert "Content-Encoding" not in make().get(LONG, headers={"Accept-Encoding": "gzip"}).headers


def test_a_host_that_is_not_trusted_is_refused(make: Make) -> None:
    """400 as a problem document for a Host header with another name."""
    client = make(trusted_hosts=["desk.example.org"])
    assert client.get("/healthz", headers={"Host": "desk.example.org"}).status_code == 200
    refused = client.get("/healthz", headers={"Host": "evil.example.org"})
    assert (refused.status_code, refused.mimetype) == (400, "application/problem+json")


def test_a_trace_is_carried_into_the_log(make: Make, caplog: pytest.LogCaptureFixture) -> None:
    """The trace id of a W3C traceparent stands in the access line; a broken one does not."""
    trace = "0af7651916cd43dd8448eb211c80319c"
    client = make()
    with caplog.at_level(logging.INFO, "threewire.api"):
        client.get("/healthz", headers={"Traceparent": f"00-{trace}-b7ad6b7169203331-01"})
        client.get("/healthz", headers={"Traceparent": "00-x-y-z"})
    lines = [one.msg for one in caplog.records if one.msg.get("event") == "request"]
    assert [one.get("trace_id") for one in lines] == [trace, None]


def test_the_document_names_the_public_address(make: Make) -> None:
    """Where the service is known under another address, /openapi.json says that one."""
    client = make(public_url="https://desk.example.org/threewire")
    served = client.get("/openapi.json").json["servers"]
    assert [one["url"] for one in served] == ["https://desk.example.org/threewire"]
