"""How many batches run at once, and what their lines count for."""

import time
from typing import Any

import pytest
from flask import Flask

from api.access import LOCAL, Caller, authorization
from api.access.rate_limiter import Verdict
from api.web import batch
from api.web.batch import Places

KIND = {"Content-Type": "application/x-ndjson"}


def test_a_key_has_one_batch_and_the_last_thread_none() -> None:
    """Two of three places are taken by two keys; a second of one key, and a third key, wait."""
    places = Places(2)
    done = places.take("a")
    assert done is not None
    assert places.take("a") is None
    assert places.take("b") is not None
    assert places.take("c") is None
    done()
    done()  # told at the end of the answer, and when the connection is closed
    assert places.take("c") is not None
    assert places.take("d") is None


def test_a_server_of_one_thread_takes_one(app: Flask) -> None:
    """Where there is no thread to spare a batch still runs, and so does the next one after it."""
    app.extensions["threewire"].cache["batches"] = Places(0)
    client = app.test_client()
    for _ in range(2):
        answer = client.post("/v1/diagnoses/batch", data=b"{}", headers=KIND)
        assert answer.status_code == 200
        assert len(answer.data.splitlines()) == 1


def test_a_batch_too_many_is_told_when_to_come_again(app: Flask) -> None:
    """429 with Retry-After, and nothing of it is read."""
    places = app.extensions["threewire"].cache["batches"] = Places(1)
    done = places.take(LOCAL.id)
    assert done is not None
    refused = app.test_client().post("/v1/diagnoses/batch", data=b"{}", headers=KIND)
    assert (refused.status_code, refused.headers["Retry-After"]) == (429, "10")
    done()


def test_a_batch_that_is_refused_takes_no_place(app: Flask) -> None:
    """A length beyond all bounds is refused each time it is sent, and a good batch still runs."""
    app.extensions["threewire"].cache["batches"] = Places(1)
    client = app.test_client()
    for _ in range(2):
        refused = client.post(
            "/v1/diagnoses/batch", data=b"{}", headers=KIND,
            environ_overrides={"CONTENT_LENGTH": str(2**63)},
        )  # fmt: skip
        assert refused.status_code == 413
    assert client.post("/v1/diagnoses/batch", data=b"{}", headers=KIND).status_code == 200


def test_each_line_takes_its_turn(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three lines are the request and two turns more."""
    turns: list[int] = []
    monkeypatch.setattr(batch, "wait_for_turn", lambda: turns.append(1))
    body = b"{}\n{}\n{}"
    answer = app.test_client().post("/v1/diagnoses/batch", data=body, headers=KIND)
    assert len(answer.data.splitlines()) == 3
    assert len(turns) == 2


def test_a_turn_waits_until_the_rate_has_room(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    """A key that has used up its minute waits as long as its bucket says, then goes on."""
    verdicts = [Verdict(False, 0, 0.5, 60.0), Verdict(True, 0, 0.0, 60.0)]
    waited: list[float] = []
    monkeypatch.setattr(time, "sleep", waited.append)
    with app.test_request_context("/"):
        limiter: Any = authorization.access().limiter
        monkeypatch.setattr(limiter, "take", lambda *_: verdicts.pop(0))
        monkeypatch.setattr(authorization, "caller", lambda: Caller("k", "till", "read"))
        authorization.wait_for_turn()
    assert waited == [0.5]
