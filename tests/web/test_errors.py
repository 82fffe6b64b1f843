"""Every refusal is a problem document as in RFC 9457, and none of them is a 500."""

import io
import json
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from werkzeug.test import EnvironBuilder, run_wsgi_app

from api import create_app

Problem = Callable[[Any, int], dict[str, Any]]


@pytest.fixture
def problem(told: Callable[[str], Draft202012Validator]) -> Problem:
    """Return the problem document of a response after checking its form."""
    form = told("Problem")

    def checked(response: Any, status: int) -> dict[str, Any]:
        assert response.status_code == status, response.data
        # RFC 9457 section 3: the media type, and `status` repeats the response's status
        assert response.content_type == "application/problem+json"
        body: dict[str, Any] = json.loads(response.data)
        form.validate(body)
        assert body["status"] == status
        assert body["request_id"] == response.headers["X-Request-Id"]
        return body

    return checked


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("get", "/", 404),
        ("get", "/v1", 404),
        ("get", "/v1/causes/", 404),
        ("get", "//v1//causes", 404),
        ("get", "/v1/causes/../checks", 404),
        ("get", "/v1/causes/%ff%00", 404),
        ("get", "/v1/causes/" + "x" * 3000, 404),
        ("get", "/v1/diagnoses", 405),
        ("put", "/v1/diagnoses", 405),
        ("post", "/v1/causes", 405),
        ("delete", "/v1/rules", 405),
        ("patch", "/healthz", 405),
    ],
)
def test_wrong_places_and_methods(
    problem: Problem, client: FlaskClient, method: str, path: str, status: int
) -> None:
    """A path or method that is not served is told in a problem document."""
    problem(getattr(client, method)(path), status)


def test_405_keeps_allow(client: FlaskClient) -> None:
    """RFC 9110 section 15.5.6: a 405 answer must carry Allow with the methods that are taken."""
    response = client.get("/v1/diagnoses")
    assert set(response.headers["Allow"].split(", ")) == {"OPTIONS", "POST"}


def test_odd_method_is_405(problem: Problem, client: FlaskClient) -> None:
    """A method that nobody has heard of is not allowed, with a document that says so."""
    problem(client.open("/healthz", method="BREW"), 405)


@pytest.mark.parametrize(
    "content_type",
    [
        "text/plain", "application/xml", "application/x-www-form-urlencoded", "", "json",
        "application/json; charset=utf-16", "multipart/form-data", "application/jsonp",
    ],
)  # fmt: skip
def test_wrong_content_type_is_415(
    problem: Problem, post: Callable[..., Any], content_type: str
) -> None:
    """A body that is not said to be JSON in UTF-8 is not guessed at."""
    response = post(b"{}", content_type=content_type)
    problem(response, 415)
    assert response.headers["Accept-Post"] == "application/json"


def test_compressed_body_is_415(problem: Problem, post: Callable[..., Any]) -> None:
    """RFC 9110 section 15.5.16: 415 also refuses a content coding, and says which is taken."""
    response = post(b"{}", headers={"Content-Encoding": "gzip"})
    assert "compressed" in problem(response, 415)["detail"]
    assert response.headers["Accept-Encoding"] == "identity"


@pytest.mark.parametrize(
    ("accept", "status"),
    [
        (None, 200), ("*/*", 200), ("application/*", 200), ("application/json", 200),
        ("text/html, */*;q=0.1", 200), ("text/html", 406), ("application/json;q=0", 406),
        ("image/png, text/*", 406),
    ],
)  # fmt: skip
def test_accept(
    problem: Problem,
    post: Callable[..., Any],
    case: dict[str, Any],
    accept: str | None,
    status: int,
) -> None:
    """A caller who does not accept JSON is told, not sent what cannot be read."""
    response = post(case, headers={"Accept": accept} if accept else {})
    assert response.status_code == status
    if status == 406:
        problem(response, 406)


@pytest.mark.parametrize(
    ("raw", "place"),
    [
        (b"", "nothing here"),
        (b'{"machine": {}\n "findings": []}', "line 2, column 2"),
        (b'{"machine": {},\n "machine": {}}', "the key 'machine' stands twice"),
        (b'{"findings": [{"value": NaN}]}', "NaN is not"),
        (b"[" * 100_000, "nested more than 20 deep"),
    ],
)
def test_malformed_json_is_400(
    problem: Problem, post: Callable[..., Any], raw: bytes, place: str
) -> None:
    """Text that is not strict JSON is refused, and what is wrong with it told."""
    body = problem(post(raw), 400)
    assert place in body["detail"]
    assert place in body["errors"][0]["message"]


@pytest.mark.parametrize("raw", [b"[]", b"null", b"1", b'"machine"', b"true"])
def test_json_that_is_no_object_is_422(
    problem: Problem, post: Callable[..., Any], raw: bytes
) -> None:
    """Valid JSON that is not an object is a bad request, not a fault of the service."""
    assert problem(post(raw), 422)["errors"]


def test_body_over_one_mebibyte_is_413(problem: Problem, post: Callable[..., Any]) -> None:
    """The limit is exact: 1 MiB is read, one byte more is not."""
    problem(post(b" " * (1024 * 1024 - 2) + b"{}"), 422)
    problem(post(b" " * (1024 * 1024 - 1) + b"{}"), 413)
    problem(post(b" " * (1024 * 1024) + b"{}"), 413)


def test_body_of_unknown_length_is_bounded_too(app: Flask) -> None:
    """A chunked body, which announces no length, is cut off at the same limit."""
    endless = io.BytesIO(b" " * (4 * 1024 * 1024))
    environ = EnvironBuilder(
        "/v1/diagnoses", method="POST", content_type="application/json"
    ).get_environ()
    environ.pop("CONTENT_LENGTH", None)
    environ["HTTP_TRANSFER_ENCODING"] = "chunked"
    environ["wsgi.input"] = endless
    environ["wsgi.input_terminated"] = True  # a server sets it that ends chunked bodies itself
    body, status, headers = run_wsgi_app(app.wsgi_app, environ)
    assert status.startswith("413 ")
    assert headers["Content-Type"] == "application/problem+json"
    assert json.loads(b"".join(body))["status"] == 413
    assert endless.tell() < 2 * 1024 * 1024


def test_every_fault_at_once_with_its_path(problem: Problem, post: Callable[..., Any]) -> None:
    """A request with several faults gets all of them in one answer, the nearest words beside."""
    body = problem(
        post(
            {
                "machine": {"duty": "fuel-shutof", "control": "ignition-timed"},
                "findings": [{"check": "pull-pin-voltag", "value": 11.4, "unit": "V"}, {}],
                "limit": -1,
            }
        ),
        422,
    )
    by_path = {error["path"]: error["message"] for error in body["errors"]}
    assert {"machine.duty", "machine.coil", "findings[1].check", "limit"} <= set(by_path)
    assert "fuel-shutoff" in by_path["machine.duty"]


class Broken:
    """An engine that fails in a way nobody foresaw, with the caller's words in its message."""

    def diagnose(self, request: dict[str, Any]) -> dict[str, Any]:
        """Fail."""
        raise ZeroDivisionError(f"the secret is {request}")


@pytest.fixture
def broken(app: Flask) -> Flask:
    """An application around the broken engine."""
    return create_app({"KNOWLEDGE": app.extensions["threewire"].knowledge, "DIAGNOSER": Broken()})


def test_500_leaks_nothing(
    problem: Problem, broken: Flask, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault of the service shows neither its message nor its code, and its log no value."""
    response = broken.test_client().post("/v1/diagnoses", json={"word": "xyzzy"})
    body = problem(response, 500)
    for leak in ("ZeroDivision", "xyzzy", "Traceback", ".py"):
        assert leak not in json.dumps(body)
    errors = [
        json.loads(record.message) for record in caplog.records if record.levelname == "ERROR"
    ]
    assert [error["error"] for error in errors] == ["ZeroDivisionError"]
    assert errors[0]["request_id"] == body["request_id"]
    assert "xyzzy" not in json.dumps(errors)


def test_not_ready_when_a_circuit_gives_no_answer(problem: Problem, broken: Flask) -> None:
    """Readiness is proved by diagnosing; liveness does not depend on it."""
    problem(broken.test_client().get("/readyz"), 503)
    assert broken.test_client().get("/healthz").json == {"status": "alive"}


def test_every_problem_type_can_be_fetched(problem: Problem, client: FlaskClient) -> None:
    """RFC 9457 section 3.1.1: the type, when it can be fetched, explains the problem."""
    for path, status in (("/nowhere", 404), ("/v1/causes?x=1", 422)):
        kind = problem(client.get(path), status)["type"]
        page = client.get(kind)
        assert page.status_code == 200
        assert page.json["status"] == status
    problem(client.get("/problems/nonesuch"), 404)


def test_an_answer_can_be_slim(problem: Problem, client: FlaskClient, case: dict[str, Any]) -> None:
    """Only the fields that are asked for come, each as in the whole; a strange one is told."""
    whole = client.post("/v1/diagnoses", json=case).json
    slim = client.post("/v1/diagnoses?fields=causes,advice", json=case).json
    assert slim == {"causes": whole["causes"], "advice": whole["advice"]}
    refused = problem(client.post("/v1/diagnoses?fields=cause", json=case), 422)
    assert "'causes'" in refused["errors"][0]["message"]


@pytest.mark.parametrize(
    ("query", "says"),
    [("field=causes", "did you mean 'fields'?"), (f"fields={'x' * 201}", "at most 200"),
     ("fields=causes&fields=advice", "given more than once")],
)  # fmt: skip
def test_a_slip_in_the_query_is_told_by_its_name(
    problem: Problem, client: FlaskClient, query: str, says: str
) -> None:
    """A parameter is called in its fault as it is called in the address."""
    (fault,) = problem(client.post(f"/v1/diagnoses?{query}", json={}), 422)["errors"]
    assert fault["path"] in ("query.field", "query.fields")
    assert says in fault["message"]
