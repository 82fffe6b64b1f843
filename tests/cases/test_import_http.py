"""History over HTTP: a case a line, bounded, once however often it is sent."""

import contextlib
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import requests
from flask.testing import FlaskClient
from sqlalchemy import select

from api import create_app
from api.cases.learning import IMPORTED
from api.settings import load
from api.store import Database
from api.store.models import CaseRow
from engine import Diagnoser, Knowledge
from tests.cases.conftest import CRANKS, MACHINE, VOLTS
from tests.databases import set_up
from tests.serving import Running

KIND = {"Content-Type": "application/x-ndjson"}
PATH = "/v1/cases/import"


def old_case(number: int) -> dict[str, Any]:
    """Return a closed case of another program."""
    return {
        "imported_as": f"old-{number}", "machine": MACHINE, "findings": [CRANKS, VOLTS],
        "opened_at": f"2019-01-02T03:{number // 60:02}:{number % 60:02}Z", "opened_by": "Dana",
        "outcome": {"cause": "ground-resistive", "by": "Ana", "at": "2019-01-03T08:00:00Z"},
    }  # fmt: skip


def lines(*sent: object) -> bytes:
    """Return each as a line."""
    return b"".join(json.dumps(one).encode() + b"\n" for one in sent)


def answered(body: bytes) -> list[Any]:
    """Return the answers as data."""
    return [json.loads(line) for line in body.splitlines()]


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """A store."""
    found = set_up(f"sqlite:///{tmp_path}/cases.sqlite3")
    yield found
    found.close()


@pytest.fixture
def client(database: Database, knowledge: Knowledge, engine: Diagnoser) -> FlaskClient:
    """A client of a service with that store, which takes five lines."""
    settings = load({"batch_lines": 5}, environment={})
    own = {"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "DATABASE": database, "SETTINGS": settings}
    return create_app(own).test_client()


def kept(database: Database) -> list[CaseRow]:
    """Return the cases of a store."""
    with database.reading() as session:
        return list(session.scalars(select(CaseRow).order_by(CaseRow.opened_at)))


def test_each_line_is_answered_in_its_place(client: FlaskClient, database: Database) -> None:
    """Good cases come in with their dates and marked as imported; a bad line says its number, the
    place in it and the nearest right value, and ends nothing."""
    slip = old_case(2) | {"machine": MACHINE | {"duty": "fuel-shutof"}}
    body = lines(old_case(1), slip) + b"{\n" + lines(old_case(3))
    answer = client.post(PATH, data=body, headers=KIND)
    first, bad, broken, last = answered(answer.data)
    assert (answer.status_code, answer.mimetype) == (200, "application/x-ndjson")
    assert [one["line"] for one in (first, bad, broken, last)] == [1, 2, 3, 4]
    assert (first["brought_in"], last["brought_in"]) == (True, True)
    assert bad["status"] == 422
    (error,) = bad["errors"]
    assert error["path"] == "machine.duty"
    assert "did you mean 'fuel-shutoff'?" in error["message"]
    assert broken["status"] == 400
    rows = kept(database)
    assert [row.opened_at.year for row in rows] == [2019, 2019]
    assert {row.learn for row in rows} == {IMPORTED}
    assert client.get(f"/v1/cases/{first['case']}").json["outcome"]["by"] == "Ana"
    assert client.get("/v1/learning").json["learned_from"] == 0


def test_it_is_bounded(client: FlaskClient, database: Database) -> None:
    """A line over 1 MiB is refused in its place, and what stands behind the last allowed line is
    not read."""
    long = old_case(0) | {"complaint": "x" * 2**20}
    sent = lines(long, *(old_case(number) for number in range(1, 8)))
    told = answered(client.post(PATH, data=sent, headers=KIND).data)
    assert told[0]["status"] == 413
    assert (told[-1]["line"], told[-1]["status"]) == (6, 413)
    assert len(kept(database)) == 4


def test_killed_half_way_and_sent_again(tmp_path: Path) -> None:
    """The service is killed while lines come; started again, the same lines make each case once."""
    url, home = f"sqlite:///{tmp_path}/store/cases.sqlite3", tmp_path / "home"
    cases, database, killed = [old_case(one) for one in range(12)], set_up(url), threading.Event()

    def half_way() -> Iterator[bytes]:
        yield lines(*cases[:6])
        killed.wait(60)

    def send(to: str) -> None:
        with contextlib.suppress(requests.RequestException):
            requests.post(to + PATH, data=half_way(), headers=KIND, timeout=60)

    server = Running(home, environment={"THREEWIRE_DATABASE": url})
    thread = threading.Thread(target=send, args=(server.url,))
    thread.start()
    deadline = time.monotonic() + 60
    while len(kept(database)) < 2 and time.monotonic() < deadline:
        time.sleep(0.02)
    server.kill()
    killed.set()
    thread.join(60)
    before = len(kept(database))
    server = Running(home, environment={"THREEWIRE_DATABASE": url})
    try:
        server.wait_ready()
        answer = requests.post(server.url + PATH, data=lines(*cases), headers=KIND, timeout=60)
    finally:
        server.kill()
    marks = {row.imported_as for row in kept(database)}
    assert 2 <= before <= 6
    assert len(marks) == len(kept(database)) == 12
    assert sum(not one["brought_in"] for one in answered(answer.content)) == before
    database.close()
