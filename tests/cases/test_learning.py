"""Closed cases shift the shares of causes: visible, switchable, the same in every worker."""

from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.cases import Book
from api.cases.learning import LearningDiagnoser, counts_of, report
from api.settings import load
from api.store import Database, StoreUnavailableError
from engine import Diagnoser, Knowledge, updated_shares
from tests.cases.conftest import AMPS, CRANKS, MACHINE

CIRCUIT = "fuel-shutoff-controller-on-crank"
CAUSE = "hold-winding-open"
BEARS_OUT = {
    CAUSE: [{"check": "hold-winding-ohms", "outcome": "open"}],
    "pull-winding-open": [{"check": "pull-winding-ohms", "outcome": "open"}],
}
REQUEST = {"machine": MACHINE, "findings": [CRANKS], "limit": 0}


def close(
    book: Book, cause: str, count: int = 1, machine: Any = MACHINE, by: str = "Dana"
) -> list[str]:
    """Open and close cases with a cause; return their numbers."""
    found = []
    for _ in range(count):
        opening = {"machine": machine, "findings": BEARS_OUT.get(cause, [])}
        found.append(book.open(opening, by).number)
        book.close(found[-1], {"cause": cause}, by, None)
    return found


def belief(engine: Any, cause: str) -> float:
    """Return the belief in a cause."""
    answer = engine.diagnose(REQUEST)
    return float(next(one["probability"] for one in answer["causes"] if one["id"] == cause))


class Seconds:
    """A clock that a test sets."""

    now = 0.0

    def __call__(self) -> float:
        """Return the seconds."""
        return self.now


@pytest.mark.both_databases
def test_confirmed_causes_become_likelier(
    book: Book, database: Database, engine: Diagnoser, knowledge: Knowledge
) -> None:
    """Ten closed cases raise the cause's share as the Dirichlet mean of shipped shares says."""
    close(book, CAUSE, 10)
    learner = LearningDiagnoser(engine, database)
    assert belief(learner, CAUSE) > 1.3 * belief(engine, CAUSE)
    shares = updated_shares(knowledge, [{"circuit": CIRCUIT, "cause": CAUSE, "count": 10}])
    total = sum(shares[CIRCUIT].values())
    shipped = knowledge.share(CIRCUIT, CAUSE)
    # posterior mean (200 p + 10) / (200 + 10) on the scale of the shipped total
    assert shares[CIRCUIT][CAUSE] == pytest.approx((200 * shipped + 10 * total) / 210, rel=0.02)
    told = report(database, knowledge, on=True).to_dict()
    assert told["knowledge_version"] == learner.diagnose(REQUEST)["knowledge_version"]
    assert "+learned-" in told["knowledge_version"]
    assert told["learned_from"] == 10


def test_two_workers_learn_the_same(book: Book, database: Database, engine: Diagnoser) -> None:
    """The same closed cases, in whatever order, give the same answer byte for byte."""
    one = LearningDiagnoser(engine, database)
    close(book, CAUSE, 2)
    close(book, "pull-winding-open", 3)
    other = LearningDiagnoser(engine.with_shares_of(engine.knowledge), database)
    assert one.diagnose(REQUEST) == other.diagnose(REQUEST)


def test_a_worker_looks_once_a_minute(book: Book, database: Database, engine: Diagnoser) -> None:
    """Between two looks the shares stay; after a minute the new cases count."""
    clock = Seconds()
    learner = LearningDiagnoser(engine, database, clock=clock)
    version = learner.diagnose(REQUEST)["knowledge_version"]
    (number,) = close(book, CAUSE)
    clock.now = 59.0
    assert learner.diagnose(REQUEST)["knowledge_version"] == version
    clock.now = 60.0
    assert "+learned-" in learner.diagnose(REQUEST)["knowledge_version"]
    built = learner.present()
    clock.now = 120.0
    assert learner.present() is built  # nothing new, nothing built
    book.reopen(number, "", "Dana")
    clock.now = 180.0
    assert learner.diagnose(REQUEST)["knowledge_version"] == version


def test_as_many_cases_with_other_causes_are_noticed(
    book: Book, database: Database, engine: Diagnoser
) -> None:
    """A case reopened and closed with another cause changes the shares, not only a new one."""
    learner = LearningDiagnoser(engine, database, seconds=0.0)
    (number,) = close(book, CAUSE)
    before = learner.diagnose(REQUEST)["knowledge_version"]
    book.reopen(number, "", "Dana")
    book.add_findings(number, BEARS_OUT["pull-winding-open"], "Dana")
    book.withdraw(number, 1, "Dana")
    book.close(number, {"cause": "pull-winding-open"}, "Dana", None)
    assert learner.diagnose(REQUEST)["knowledge_version"] != before


def test_a_store_that_is_away_stops_no_diagnosis(
    book: Book, database: Database, engine: Diagnoser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shares stay as they were when the closed cases cannot be counted."""
    close(book, CAUSE)
    learner = LearningDiagnoser(engine, database, seconds=0.0)
    version = learner.diagnose(REQUEST)["knowledge_version"]

    def away(_: object) -> Any:
        raise StoreUnavailableError("away")

    monkeypatch.setattr("api.cases.learning.counts_of", away)
    assert learner.diagnose(REQUEST)["knowledge_version"] == version


def test_what_cannot_be_learned_from_is_listed(
    book: Book, database: Database, knowledge: Knowledge
) -> None:
    """Healthy machines, unknown causes and unsettled controls are counted with the reason."""
    close(book, "healthy")
    close(book, "unknown")
    close(book, CAUSE, machine=MACHINE | {"control": "unknown"})
    with database.writing() as session:  # a cause that a later knowledge base dropped
        from api.store.models import CaseRow

        session.query(CaseRow).filter(CaseRow.confirmed == "unknown").update(
            {"confirmed": "dropped"}
        )
    told = report(database, knowledge, on=True).to_dict()
    assert (told["closed_cases"], told["learned_from"], told["outcomes"]) == (3, 0, [])
    assert told["shares"] == []
    assert told["knowledge_version"] == knowledge.version
    reasons = {one["cause"]: one["because"] for one in told["not_counted"]}
    assert set(reasons) == {"healthy", CAUSE, "dropped"}
    assert reasons[CAUSE] == "the control was never settled"
    assert "unknown cause" in reasons["dropped"]


def test_open_cases_teach_nothing(book: Book, database: Database) -> None:
    """Only what was confirmed counts; a reopened case is open."""
    (number,) = close(book, CAUSE)
    (found,) = counts_of(database)
    assert (found.circuit, found.cause, found.count) == (CIRCUIT, CAUSE, 1)
    book.reopen(number, "", "Dana")
    assert counts_of(database) == ()


@pytest.mark.parametrize("on", [True, False])
def test_learning_over_http_can_be_switched_off(
    database: Database, engine: Diagnoser, knowledge: Knowledge, book: Book, on: bool
) -> None:
    """With 'learn' off, closed cases change no answer, and the report says so."""
    close(book, CAUSE, 3)
    app = create_app({
        "KNOWLEDGE": knowledge, "DIAGNOSER": engine, "DATABASE": database,
        "SETTINGS": load({"learn": on}, environment={}),
    })  # fmt: skip
    client: FlaskClient = app.test_client()
    told = client.get("/v1/learning").json
    assert told["on"] is on
    version = client.post("/v1/diagnoses", json=REQUEST).json["knowledge_version"]
    assert version == told["knowledge_version"]
    assert ("+learned-" in version) is on
    opened = client.post("/v1/cases", json={"machine": MACHINE})
    assert opened.json["leading"]["knowledge_version"] == version
    (share,) = [one for one in told["shares"] if one["cause"] == CAUSE]
    assert share["learned"] > share["shipped"]


def reasons(book: Book) -> dict[str, int]:
    """Return for which reasons closed cases do not count, and how many."""
    told = report(book.database, book.knowledge, on=True)
    return {one.because: one.count for one in told.not_counted}


def test_what_findings_do_not_bear_out_teaches_nothing(book: Book) -> None:
    """A cause that nothing in the case points to is kept as its end, and not learned from."""
    case = book.open({"machine": MACHINE, "findings": BEARS_OUT["pull-winding-open"]}, "Dana")
    book.close(case.number, {"cause": CAUSE}, "Dana", None)
    bare = book.open({"machine": MACHINE}, "Dana")
    book.close(bare.number, {"cause": CAUSE}, "Dana", None)
    assert reasons(book) == {"what was found does not bear it out": 2}


def test_a_case_that_shows_one_cause_is_borne_out_by_all_of_them(
    book: Book, engine: Diagnoser
) -> None:
    """Confirmed is the second of the causes; the case shows the first alone, and it counts."""
    second = engine.diagnose({"machine": MACHINE, "findings": [AMPS]})["causes"][1]
    assert second["probability"] >= 0.1
    case = book.open({"machine": MACHINE, "findings": [AMPS], "limit": 1}, "Dana")
    book.close(case.number, {"cause": second["id"]}, "Dana", None)
    assert reasons(book) == {}


def test_a_word_on_one_end_does_not_outlive_it(book: Book) -> None:
    """A case that was reviewed, reopened and closed with another cause is looked at as any other;
    what an administrator left out stays out."""
    number, left_out = close(book, CAUSE, 2)
    book.review("yes", number=number)
    book.review("no", number=left_out)
    for one in (number, left_out):
        book.reopen(one, "", "Dana")
        book.close(one, {"cause": "pull-winding-open"}, "Dana", None)
    assert reasons(book) == {
        "what was found does not bear it out": 1, "an administrator left it out": 1
    }  # fmt: skip


def test_one_key_teaches_so_much_a_day(
    book: Book, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of what one key closes on a day a few count; another key has its own."""
    monkeypatch.setattr("api.cases.learning.PER_DAY", 2)
    close(book, CAUSE, 4, by="Ana via till 3")
    close(book, CAUSE, 1, by="Ben via till 3")
    close(book, CAUSE, 1, by="Ana via till 4")
    told = report(database, book.knowledge, on=True)
    assert told.learned_from == 3
    assert [(one.key, one.closed_cases, one.learned_from) for one in told.keys] == [
        ("till 3", 5, 2), ("till 4", 1, 1),
    ]  # fmt: skip


def test_an_administrator_takes_back_and_restores(book: Book, client: FlaskClient) -> None:
    """All that one key closed, or one case, is left out and counted again over HTTP."""
    number, _ = close(book, CAUSE, 2, by="Ana via till 3")

    def counted(**said: str) -> int:
        answer = client.post("/v1/learning", json=said)
        assert answer.status_code == 200, answer.text
        return int(answer.json["learned_from"])

    assert counted(key="till 3", counts="no") == 0
    assert reasons(book) == {"an administrator left it out": 2}
    assert counted(number=number, counts="auto") == 1
    assert counted(key="till 3", counts="yes") == 2
    nobody = client.post("/v1/learning", json={"key": "till 9", "counts": "no"})
    assert nobody.status_code == 422
    assert "no closed case" in nobody.text
    slip = client.post("/v1/learning", json={"number": "12", "counts": "no"})
    assert slip.status_code == 422
    (error,) = slip.get_json(force=True)["errors"]
    assert error["path"] == "number"
    assert "8 digits" in error["message"]
