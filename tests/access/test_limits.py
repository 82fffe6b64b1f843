"""Rates: what one key may, what wrong keys cost, and that all workers count together."""

import multiprocessing
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st

from api.access import authorization, rate_limiter
from api.access.rate_limiter import RateLimiter
from api.store import Database
from tests.access.conftest import bearer


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock of the limiter's that a test moves on."""
    now = [1000.0]
    monkeypatch.setattr(rate_limiter.time, "monotonic", lambda: now[0])
    return now


def test_a_minute_holds_its_number_and_fills_evenly(clock: list[float]) -> None:
    """Sixty a minute: sixty at once, then one a second."""
    found = RateLimiter()
    assert sum(found.take("a", 60).allowed for _ in range(100)) == 60
    clock[0] += 1.0
    assert [found.take("a", 60).allowed for _ in range(2)] == [True, False]
    clock[0] += 60.0
    assert sum(found.take("a", 60).allowed for _ in range(100)) == 60


def test_one_caller_does_not_spend_what_is_anothers(clock: list[float]) -> None:
    """Each name has a bucket of its own."""
    found = RateLimiter()
    assert sum(found.take("a", 5).allowed for _ in range(9)) == 5
    assert found.take("b", 5).allowed


def test_the_wait_that_is_told_is_enough_and_not_more(clock: list[float]) -> None:
    """After the told wait one more is let through; a little before, none is."""
    found = RateLimiter()
    while (verdict := found.take("a", 7)).allowed:
        pass
    clock[0] += verdict.wait - 0.01
    assert not found.take("a", 7).allowed
    clock[0] += 0.02
    assert found.take("a", 7).allowed


@given(steps=st.lists(st.floats(0, 30), max_size=200), rate=st.integers(1, 50))
def test_no_run_of_requests_beats_the_rate(steps: list[float], rate: int) -> None:
    """Over any run the number let through is at most a bucket and what fills it meanwhile."""
    with pytest.MonkeyPatch.context() as patch:
        now = [5.0]
        patch.setattr(rate_limiter.time, "monotonic", lambda: now[0])
        found, passed = RateLimiter(), 0
        for step in steps:
            now[0] += step
            passed += found.take("a", rate).allowed
        assert passed <= rate + rate * (now[0] - 5.0) / 60 + 1e-6


def test_a_full_table_forgets_whoever_waited_longest(clock: list[float]) -> None:
    """Ten thousand names, more than there is room for, are all served and none is refused."""
    found = RateLimiter()
    assert all(found.take(f"name {number}", 60).allowed for number in range(10_000))


def _take(found: RateLimiter, tries: int, pipe: Any) -> None:
    pipe.send(sum(found.take("a", 50).allowed for _ in range(tries)))


def test_processes_share_one_count() -> None:
    """Four processes with 100 tries each get through what one would: 50, and what filled up."""
    fork = multiprocessing.get_context("fork")
    found = RateLimiter()
    pipes = [fork.Pipe() for _ in range(4)]
    processes = [fork.Process(target=_take, args=(found, 100, pipe[1])) for pipe in pipes]
    for process in processes:
        process.start()
    passed = sum(pipe[0].recv() for pipe in pipes)
    for process in processes:
        process.join(30)
    assert 50 <= passed <= 52


def test_a_key_over_its_rate_is_429(
    make_app: Callable[..., Flask], database: Database, make_key: Callable[[str], str]
) -> None:
    """RFC 6585 section 4: 429 with Retry-After; another key goes on; what is left is told."""
    client = make_app(database, require_keys="yes", rate_per_minute=3).test_client()
    fast, other = bearer(make_key("read")), bearer(make_key("read"))
    answers = [client.get("/v1/rules", headers=fast) for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    left = [re.search(r"r=(\d+)", answer.headers["RateLimit"]) for answer in answers]
    assert [found[1] for found in left if found] == ["2", "1", "0", "0"]
    assert answers[0].headers["RateLimit-Policy"] == '"key";q=3;w=60'
    assert 1 <= int(answers[3].headers["Retry-After"]) <= 20
    assert answers[3].get_json()["type"] == "/problems/too-many"
    assert client.get("/v1/rules", headers=other).status_code == 200


def test_probes_are_not_counted(make_app: Callable[..., Flask], database: Database) -> None:
    """A balancer may ask /healthz as often as it likes."""
    client = make_app(database, require_keys="yes", rate_per_minute=1).test_client()
    assert [client.get("/healthz").status_code for _ in range(5)] == [200] * 5


def test_guessing_is_logged_and_throttled(
    make_app: Callable[..., Flask],
    database: Database,
    make_key: Callable[[str], str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Wrong keys are logged with the address, after FAILURES_PER_MINUTE answered 429; the right
    key from the same address is never held up, and the key that was tried is in no line."""
    client, right = make_app(database, require_keys="yes").test_client(), make_key("read")
    guesses = [f"tw_{'a' * 8}_{letter * 32}" for letter in "abcdefghijklmnopqrstuvwxyz"]
    answers = [client.get("/v1/rules", headers=bearer(guess)) for guess in guesses]
    statuses = [answer.status_code for answer in answers]
    assert statuses == [401] * authorization.FAILURES_PER_MINUTE + [429] * (
        26 - authorization.FAILURES_PER_MINUTE
    )
    assert int(answers[-1].headers["Retry-After"]) >= 1
    assert client.get("/v1/rules", headers=bearer(right)).status_code == 200
    logged = [record for record in caplog.records if '"wrong-key"' in record.getMessage()]
    assert len(logged) == authorization.FAILURES_PER_MINUTE
    assert '"address":"127.0.0.1"' in logged[0].getMessage()
    assert not any(guess.rsplit("_", 1)[1] in caplog.text for guess in guesses)
