"""The client's every request is one that /openapi.json tells of, and does what it says."""

import inspect
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import requests
from flask import Flask
from werkzeug.serving import make_server

from api import client, create_app
from api.client import Client, RequestRefused
from engine import Diagnoser, Knowledge
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS
from tests.databases import set_up


@pytest.fixture
def app(tmp_path: Path, knowledge: Knowledge, engine: Diagnoser) -> Flask:
    """The service with a store."""
    database = set_up(f"sqlite:///{tmp_path}/cases.sqlite3")
    return create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "DATABASE": database})


@pytest.fixture
def service(app: Flask) -> Iterator[Client]:
    """A client of the service, which listens on a free port."""
    server = make_server("127.0.0.1", 0, app)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield Client(f"http://127.0.0.1:{server.port}/")
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_case_from_call_to_cause(service: Client) -> None:
    """Opened, added to, changed, withdrawn, closed, reopened; found again, told in the feed."""
    case = service.open_case({"machine": MACHINE, "reference": "W-1", "findings": [CRANKS]})
    number = case["number"]
    case = service.add_findings(number, [VOLTS, AMPS], by="Ana")
    case = service.change(number, {"handed_to": "Ana"}, case["version"])
    with pytest.raises(RequestRefused) as stale:
        service.close(number, {"cause": "ground-resistive"}, 1)
    assert stale.value.status == 412
    assert stale.value.problem["current"]["version"] == case["version"]
    case = service.withdraw(number, 2, "leads")
    case = service.close(number, {"cause": "ground-resistive"}, case["version"])
    assert service.reopen(number, "again")["state"] == "open"
    assert service.diagnosis(number)["causes"]
    assert [one["number"] for one in service.cases(reference="W-1", limit=1)] == [number]
    assert service.case(number)["version"] == case["version"] + 1
    assert [one["type"] for one in service.events()][-1] == "case.reopened"


def test_what_is_wrong_is_told_with_its_place(service: Client) -> None:
    """A bad request is raised with every fault's path."""
    with pytest.raises(RequestRefused, match="wrong") as told:
        service.diagnose({"machine": MACHINE, "findings": [{"check": "pull-pin-volts"}]})
    assert told.value.errors[0]["path"] == "findings[0].check"
    assert service.diagnose({"machine": MACHINE, "findings": [VOLTS]})["causes"]


def test_every_request_stands_in_the_document(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every method that the client has asks once, for what /openapi.json has."""
    paths = app.test_client().get("/openapi.json").json["paths"]
    asked: list[tuple[str, str]] = []

    def note(_: Client, method: str, path: str, *__: Any, **___: Any) -> dict[str, Any]:
        asked.append((method.lower(), path.replace("12345674", "{id}").replace("/9/", "/{place}/")))
        return {"cases": [], "next_cursor": None, "events": [], "next_after": 0}

    monkeypatch.setattr(client.Client, "_ask", note)
    speaker, number = Client("http://localhost"), "1234 5674"
    given: dict[str, tuple[Any, ...]] = {
        "diagnose": ({},), "open_case": ({},), "case": (number,), "diagnosis": (number,),
        "reopen": (number,), "cases": (), "events": (), "add_findings": (number, []),
        "withdraw": (number, 9), "change": (number, {}, 1), "close": (number, {}, 1),
    }  # fmt: skip
    public = {name for name, _ in inspect.getmembers(Client, inspect.isfunction)}
    assert {name for name in public if not name.startswith("_")} == set(given)
    for place, (name, words) in enumerate(given.items(), start=1):
        list(getattr(speaker, name)(*words))  # what it gives one by one is asked for as it is read
        assert len(asked) == place, name
    for method, path in asked:
        assert method in paths[path], path


@dataclass
class Line:
    """A line to a service that is not there: what comes over it, and what was sent and waited."""

    answers: list[tuple[int, bytes, str] | Exception]
    keys: list[str | None] = field(default_factory=list)
    waited: list[float] = field(default_factory=list)

    def request(self, *_: Any, **options: Any) -> requests.Response:
        """Give the next answer: its status, body and Retry-After."""
        self.keys.append(options["headers"].get("Idempotency-Key"))
        told = self.answers.pop(0)
        if isinstance(told, Exception):
            raise told
        answer = requests.Response()
        answer.status_code, answer._content, answer.headers["Retry-After"] = told
        return answer


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> Line:
    """The line of every client."""
    made = Line([])
    monkeypatch.setattr(requests.Session, "request", made.request)
    monkeypatch.setattr(client.time, "sleep", made.waited.append)
    return made


def test_who_is_busy_or_silent_is_asked_again(line: Line) -> None:
    """503 with seconds or a date that is past, and no answer in time: the same request goes out
    again with the same key, the caller's own where it gave one."""
    past = "Wed, 21 Oct 2015 07:28:00 GMT"
    line.answers += [
        (503, b"{}", "2"),
        (503, b"{}", past),
        requests.ReadTimeout(),
        (201, b"{}", ""),
    ]
    assert Client("http://localhost").open_case({}, idempotency_key="W-1182") == {}
    assert line.keys == ["W-1182"] * 4
    assert line.waited == [2.0, 0.0, 1.0]


def test_what_is_no_answer_is_refused(line: Line) -> None:
    """A redirect, a page of a proxy and a list are not given out for the service's words."""
    line.answers += [(301, b"{}", ""), (200, b"<html>", ""), (200, b"[]", "")]
    for status in (301, 200, 200):
        with pytest.raises(RequestRefused) as told:
            Client("http://localhost").case("12345674")
        assert told.value.status == status
