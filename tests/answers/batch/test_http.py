"""``POST /v1/diagnoses/batch``: one answer a line, in order, bad lines in their place."""

import json
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from flask import Flask

from api.answers.answering import MAX_BYTES

Send = Callable[..., Any]
KIND = "application/x-ndjson"


@pytest.fixture
def send(app: Flask) -> Send:
    """Post a body as a batch."""

    def call(body: bytes, **options: Any) -> Any:
        options.setdefault("content_type", KIND)
        return app.test_client().post("/v1/diagnoses/batch", data=body, **options)

    return call


def _single(app: Flask, line: bytes) -> bytes:
    headers = {"Content-Type": "application/json"}
    return app.test_client().post("/v1/diagnoses", data=line, headers=headers).data


def _statuses(answers: Sequence[bytes]) -> list[int]:
    return [json.loads(one).get("status", 200) for one in answers]


def test_each_line_is_answered_as_by_itself(app: Flask, send: Send, good: list[bytes]) -> None:
    """Good lines get the very bytes that /v1/diagnoses answers."""
    response = send(b"\n".join(good))
    assert (response.status_code, response.mimetype) == (200, KIND)
    assert response.data.splitlines(keepends=True) == [_single(app, line) for line in good]


def test_bad_lines_are_answered_in_their_place(app: Flask, send: Send, mixed: list[bytes]) -> None:
    """Between good answers stand problem documents that carry the line's number, from 1, and say
    what /v1/diagnoses would."""
    found = [json.loads(one) for one in send(b"\n".join(mixed)).data.splitlines()]
    assert len(found) == len(mixed)
    for number, (line, answer) in enumerate(zip(mixed, found, strict=True), start=1):
        alone = json.loads(_single(app, line))
        if number % 3 == 2:
            assert answer.pop("line") == number
            alone.pop("request_id")
        assert answer == alone
    assert {one["status"] for one in found if "status" in one} == {400, 422}


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("last", [b"", b"\n"])
def test_line_ends(send: Send, good: list[bytes], end: bytes, last: bytes) -> None:
    """LF and CRLF are one; the last line needs none."""
    plain = send(b"\n".join(good)).data
    assert send(end.join(good) + last).data == plain


def test_an_empty_body_has_no_answers(send: Send) -> None:
    """No lines, no answers, and no fault."""
    assert (send(b"").status_code, send(b"").data) == (200, b"")


def test_the_first_line_too_many_ends_it(send: Send, good: list[bytes]) -> None:
    """Thirty lines are taken; a thirty-first is answered with 413 as the last line."""
    assert _statuses(send(b"\n".join([b"x"] * 30)).data.splitlines()) == [400] * 30
    found = send(b"\n".join([b"x"] * 30 + good * 9)).data.splitlines()
    assert _statuses(found) == [400] * 30 + [413]
    assert json.loads(found[-1])["line"] == 31
    assert "30 lines" in json.loads(found[-1])["detail"]


def test_a_huge_line_costs_only_itself(send: Send, good: list[bytes]) -> None:
    """A line over 1 MiB is answered with 413; its neighbours are diagnosed."""
    body = b"\n".join([good[0], b" " * (MAX_BYTES + 1), b"[" * 3 * MAX_BYTES, good[1]])
    assert _statuses(send(body).data.splitlines()) == [200, 413, 413, 200]


def test_a_fault_of_ours_costs_one_line(
    app: Flask, send: Send, good: list[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the engine itself fails the line says so and the next one is answered; the log has
    the fault and nothing of the line."""
    from api.answers import answering

    real = answering.answer_request

    def fail_once(engine: Any, request: Any) -> Any:
        monkeypatch.setattr(answering, "answer_request", real)
        raise ZeroDivisionError("secret")

    monkeypatch.setattr(answering, "answer_request", fail_once)
    found = send(b"\n".join(good[:2])).data
    assert _statuses(found.splitlines()) == [500, 200]
    assert b"secret" not in found


@pytest.mark.parametrize(
    ("options", "status"),
    [
        ({"content_type": "application/json"}, 415),
        ({"content_type": f"{KIND}; charset=latin-1"}, 415),
        ({"headers": {"Content-Encoding": "gzip"}}, 415),
        ({"headers": {"Accept": "application/json"}}, 406),
        ({"query_string": {"limit": "3"}}, 422),
    ],
)
def test_refused_before_the_first_line(send: Send, options: dict[str, Any], status: int) -> None:
    """What is wrong with the request as a whole is a plain problem document."""
    response = send(b"x\n", **options)
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"


def test_refusal_names_what_is_taken(send: Send) -> None:
    """A wrong content type is answered with the right one."""
    response = send(b"x\n", content_type="text/plain")
    assert response.headers["Accept-Post"] == KIND
    assert KIND in response.get_json(force=True)["detail"]
