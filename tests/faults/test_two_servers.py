"""Two services on one store, as behind a balancer: concurrent writers on the same cases."""

import uuid
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from api.store import Database
from tests.faults.conftest import Starter
from tests.faults.writers import MACHINE, Acknowledged, hold_to
from tests.serving import Running

pytestmark = pytest.mark.both_databases

OPEN = {"machine": MACHINE, "complaint": "does not start"}


@pytest.fixture
def two(start: Starter, store_url: str) -> list[Running]:
    """Two services, two workers each, on one store."""
    return [start(store_url, "--workers", "2") for _ in range(2)]


def _add(server: Running, number: str, note: str, key: str) -> Any:
    body = {"check": "fuse-look", "outcome": "intact", "note": note}
    return server.ask("POST", f"/v1/cases/{number}/findings", body, Idempotency_Key=key)


def test_writers_on_both_lose_nothing(two: list[Running], store_url: str) -> None:
    """Eight writers add to the same three cases through two services: all is there, once."""
    seen = Acknowledged()
    numbers = [two[n % 2].ask("POST", "/v1/cases", OPEN).json()["number"] for n in range(3)]
    numbers = [number.replace(" ", "") for number in numbers]
    for number in numbers:
        seen.case(number)

    def work(writer: int) -> None:
        for turn in range(6):
            number, note = numbers[(writer + turn) % 3], uuid.uuid4().hex
            # every finding is sent to both, as a balancer does that tries another server
            answers = [_add(server, number, note, note) for server in two]
            assert [answer.status_code for answer in answers] == [201, 201], answers[0].text
            assert answers[1].headers["Idempotent-Replayed"] == "true"
            seen.finding(number, note)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(work, range(8)))
    database = Database(store_url)
    assert hold_to(database, seen) == {"cases": 3, "findings": 48}
    database.close()
    for number in numbers:
        first, second = (server.ask("GET", f"/v1/cases/{number}") for server in two)
        assert first.json() == second.json()
        assert first.headers["ETag"] == second.headers["ETag"]


def test_the_slower_of_two_is_shown_what_changed(two: list[Running]) -> None:
    """A change through one service makes the other's version stale, with what was done."""
    opened = two[0].ask("POST", "/v1/cases", OPEN)
    number, tag = opened.json()["number"].replace(" ", ""), opened.headers["ETag"]
    change = {"handed_to": "night shift"}
    assert two[0].ask("PATCH", f"/v1/cases/{number}", change, If_Match=tag).status_code == 200
    late = two[1].ask("PATCH", f"/v1/cases/{number}", {"handed_to": "Ana"}, If_Match=tag)
    assert late.status_code == 412
    assert late.json()["current"]["handed_to"] == "night shift"
    assert len(late.json()["changes"]) == 1
