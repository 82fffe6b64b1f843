"""Several people and programs on the same cases at once: nothing is lost, nothing done twice."""

import time
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from threading import Barrier
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import func, select

from api.cases import Book, StaleCase
from api.cases.diagnosis import diagnose_case
from api.store import Database
from api.store.models import CaseRow, FindingRow, KeptAnswer, StepRow
from engine import Diagnoser
from tests.cases.conftest import CRANKS, MACHINE, VOLTS

pytestmark = pytest.mark.both_databases

PEOPLE = 8


class SlowEcho:
    """An engine that says the same of every request, after a while in which others get ahead."""

    def __init__(self, answer: dict[str, Any]) -> None:
        self._answer = answer

    def diagnose(self, _: dict[str, Any]) -> dict[str, Any]:
        """Return the answer."""
        time.sleep(0.005)
        return deepcopy(self._answer)


@pytest.fixture(scope="module")
def engine(diagnoser: Diagnoser) -> SlowEcho:
    """What the engine says is not what these tests are about; that it takes its time is."""
    return SlowEcho(diagnoser.diagnose({"machine": MACHINE, "findings": [CRANKS]}))


def together(work: Any) -> list[Any]:
    """Run ``work`` in eight threads that start at the same moment."""
    barrier = Barrier(PEOPLE)

    def call(place: int) -> Any:
        barrier.wait()
        return work(place)

    with ThreadPoolExecutor(PEOPLE) as pool:
        return list(pool.map(call, range(PEOPLE)))


def rows(database: Database, table: Any) -> int:
    """Return how many rows a table has."""
    with database.reading() as session:
        return int(session.scalar(select(func.count()).select_from(table)) or 0)


def test_findings_added_at_once_are_all_there(book: Book, number: str) -> None:
    """Eight people add four findings each to one case: 32 places, 32 steps, in one order."""

    def add(person: int) -> None:
        for count in range(4):
            book.add_findings(number, [VOLTS | {"note": f"{person}.{count}"}], f"p{person}")

    together(add)
    case = book.get(number)
    assert case.version == 1 + PEOPLE * 4
    assert [one.place for one in case.findings] == list(range(1, 2 + PEOPLE * 4))
    notes = [one.body["note"] for one in case.findings[1:]]
    assert sorted(notes) == sorted(f"{p}.{c}" for p in range(PEOPLE) for c in range(4))
    assert [one.version for one in book.steps(number)] == list(range(1, 34))


def test_of_changes_to_one_version_one_wins(book: Book, number: str) -> None:
    """Eight changes of the version that all have seen: one is written, seven are told of it."""

    def change(person: int) -> str:
        try:
            book.change(number, {"handed_to": f"p{person}"}, f"p{person}", 1)
        except StaleCase as stale:
            return stale.changes[0].by
        return ""

    told = together(change)
    winner = book.get(number).handed_to
    assert sorted(told) == ["", *[winner] * 7]
    assert book.get(number).version == 2


def test_reading_and_writing_never_mix_versions(book: Book, number: str) -> None:
    """A document read while others write has exactly the findings of its version."""

    def work(person: int) -> None:
        for _ in range(6):
            if person % 2:
                book.add_findings(number, [VOLTS], f"p{person}")
            else:
                found = book.get(number)
                assert len(found.findings) == found.version

    together(work)


def test_a_case_that_was_read_before_writes_over_nothing(book: Book, number: str) -> None:
    """Who adds to a case that he read sees what was added since: merged, or told if he wants."""
    case = book.get(number)
    book.add_findings(number, [CRANKS], "Ana")
    merged = book.add_findings(case, [VOLTS], "Bo")
    assert [one.body for one in merged.findings[-2:]] == [CRANKS, VOLTS]
    assert merged.version == case.version + 2
    with pytest.raises(StaleCase):
        book.replace_finding(case, 1, VOLTS, "Bo", case.version)
    assert book.get(number).version == merged.version


def test_what_a_step_made_is_not_shown_once_it_is_older(book: Book, number: str) -> None:
    """Who follows his own step sees the case as it is when somebody was at it since, whole."""
    made = book.add_findings(number, [CRANKS], "Ana")
    assert book.followed(number, None, 2, made).case.diagnosis is made.diagnosis
    later = book.change(number, {"complaint": "clicks", "handed_to": "Bo"}, "Cy", None)
    found = book.followed(number, None, 2, made)
    assert found.case.to_dict() == later.to_dict()
    assert found.case.diagnosis is not None
    assert found.moments == [made.to_dict()["leading"], later.to_dict()["leading"]]


def test_a_case_under_constant_fire_lets_everybody_through(
    book: Book, number: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever is overtaken five times holds the case and gets in."""
    overtaken = 0

    def slow(engine: Any, case: Any, sent: Any) -> Any:
        nonlocal overtaken
        if case.complaint == "slow" and overtaken < 5:
            overtaken += 1
            book.add_findings(number, [VOLTS], "other")
        return diagnose_case(engine, case, sent)

    monkeypatch.setattr("api.cases.book.diagnose_case", slow)
    case = book.change(number, {"complaint": "slow"}, "Ana", None)
    assert (case.complaint, case.version) == ("slow", 7)
    assert len(case.findings) == 6


def test_the_same_key_at_once_opens_one_case(app: Flask, database: Database) -> None:
    """Eight equal requests with one key get the same answer byte for byte, and one case is open."""

    def send(_: int) -> Any:
        return app.test_client().post(
            "/v1/cases", json={"machine": MACHINE}, headers={"Idempotency-Key": "one"}
        )

    answers = together(send)
    assert {one.status_code for one in answers} == {201}
    assert len({one.data for one in answers}) == 1
    assert len({one.headers["Location"] for one in answers}) == 1
    replayed = [one.headers.get("Idempotent-Replayed") for one in answers]
    assert sorted(map(str, replayed)) == ["None", *["true"] * 7]
    assert (rows(database, CaseRow), rows(database, StepRow), rows(database, KeptAnswer)) == (
        1,
        1,
        1,
    )


def test_the_same_key_at_once_adds_one_finding(app: Flask, database: Database, opened: Any) -> None:
    """Nor is a finding doubled, though the case has moved on for those who come second."""
    address = opened(findings=[CRANKS])

    def send(_: int) -> Any:
        return app.test_client().post(
            f"{address}/findings", json=VOLTS, headers={"Idempotency-Key": "k", "If-Match": '"1"'}
        )

    answers = together(send)
    assert {one.status_code for one in answers} == {201}
    assert len({one.data for one in answers}) == 1
    assert rows(database, FindingRow) == 2


def test_different_keys_at_once_open_different_cases(app: Flask, database: Database) -> None:
    """Eight callers with keys of their own open eight cases."""

    def send(person: int) -> Any:
        return app.test_client().post(
            "/v1/cases", json={"machine": MACHINE}, headers={"Idempotency-Key": f"k{person}"}
        )

    assert len({one.headers["Location"] for one in together(send)}) == PEOPLE
    assert rows(database, CaseRow) == PEOPLE
