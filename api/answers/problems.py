"""One error body for everything: problem details as in RFC 9457, with every fault and its place."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus
from importlib import resources
from itertools import islice
from typing import Any

from flask import Flask, Response, current_app, g, request
from werkzeug.exceptions import HTTPException

from api import strict_json
from api.logs import LogLine, fault
from api.strict_json import JsonObject
from engine.answer import documents
from engine.knowledge.text import load_yaml

MEDIA_TYPE = "application/problem+json"
MOST_ERRORS = 100

_log = logging.getLogger("threewire.api")


@dataclass(frozen=True)
class ProblemKind(documents.Document):
    """What a kind of problem means; ``kind`` is the last part of its ``type``."""

    kind: str
    title: str
    status: int
    advice: str


def _kinds() -> dict[int, ProblemKind]:
    text = resources.files("api.answers").joinpath("problems.yaml").read_text(encoding="utf-8")
    told: Any = load_yaml(text, "problems.yaml")
    return {int(status): ProblemKind(status=int(status), **one) for status, one in told.items()}


_KINDS = _kinds()


class ProblemError(Exception):
    """Raised anywhere in a view to answer with a problem document.

    ``errors`` are (path, message) pairs; ``headers`` go on the response as they are.
    """

    def __init__(
        self, status: int, detail: str | None = None, errors: Iterable[tuple[str, str]] = (),
        headers: dict[str, str] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(detail)
        self.status, self.detail = status, detail
        self.errors, self.headers = list(errors), headers or {}


def document(
    status: int, detail: str | None = None, errors: Iterable[tuple[str, str]] = ()
) -> JsonObject:
    """Return the members of a problem document, without its request id.

    The command line writes the same document for a bad line, so that all doors say the same.
    """
    meant = _KINDS.get(status) or _KINDS[400 if status < 500 else 500]
    told = [{"path": path, "message": message} for path, message in islice(errors, MOST_ERRORS)]
    return {"type": f"/problems/{meant.kind}", "title": meant.title, "status": status,
            "detail": detail or meant.advice, "errors": told}  # fmt: skip


def faults_document(faults: Iterable[Any], done: str = "diagnosed") -> JsonObject:
    """Return the 422 document for an engine error's faults (each with ``path`` and ``message``).

    ``done`` is what was not done with the request.
    """
    errors = pairs(faults)
    many = f"{len(errors)} things in the request are wrong"
    said = "One thing in the request is wrong" if len(errors) == 1 else many
    return document(422, f"{said}; nothing was {done}.", errors)


def pairs(faults: Iterable[Any]) -> list[tuple[str, str]]:
    """Return path and message of each fault, as a problem document takes them."""
    return [(fault.path, fault.message) for fault in faults]


def json_document(fault: strict_json.JsonError) -> JsonObject:
    """Return the 400 document for text that is not taken as JSON."""
    return document(400, str(fault), [("", str(fault))])


@dataclass(frozen=True)
class ProblemPart:
    """One thing wrong with a request."""

    path: str
    message: str


@dataclass(frozen=True)
class ProblemDocument:
    """Problem details as in RFC 9457: what ``document`` writes, and ``respond`` sends.

    It is never made: the command line writes the same without an id, a batch with a line.
    """

    type: str
    title: str
    status: int
    detail: str
    errors: tuple[ProblemPart, ...]
    request_id: str


def kinds() -> dict[str, ProblemKind]:
    """Return what each ``type`` means, by the last part of its path."""
    return {one.kind: one for one in _KINDS.values()}


def respond(problem: JsonObject, headers: dict[str, str] | None = None) -> Response:
    """Return the response that carries a problem document and the request's id."""
    body = strict_json.dumps(problem | {"request_id": g.get("request_id", "")})
    response = current_app.response_class(body, status=problem["status"], mimetype=MEDIA_TYPE)
    response.headers.update(headers or {})
    return response


def register(app: Flask) -> None:
    """Make every error of ``app`` a problem document."""
    app.register_error_handler(ProblemError, _on_problem)
    app.register_error_handler(HTTPException, _on_http_exception)
    app.register_error_handler(Exception, _on_surprise)


def _on_problem(error: ProblemError) -> Response:
    return respond(document(error.status, error.detail, error.errors), error.headers)


def _on_http_exception(error: HTTPException) -> Response:
    """Answer what Werkzeug refuses; only Allow is kept, the rest of its HTML page is not."""
    status = error.code or HTTPStatus.INTERNAL_SERVER_ERROR
    if 300 <= status < 400:  # a redirect would carry an HTML body; none is ever needed here
        status = HTTPStatus.NOT_FOUND
    allowed = getattr(error, "valid_methods", None)
    headers = {"Allow": ", ".join(sorted(allowed))} if allowed else {}
    details = {
        404: f"Nothing is served at {strict_json.shorten(request.path)}.",
        405: f"{strict_json.shorten(request.method, 20)} is not taken here.",
    }
    return respond(document(int(status), details.get(int(status))), headers)


def _on_surprise(error: Exception) -> Response:
    """Answer 500; the log says where it happened, but no value: values may be the caller's."""
    log_surprise(error)
    return respond(document(500))


def log_surprise(error: Exception) -> None:
    """Log an unforeseen error: its type and where it happened, as one line of JSON."""
    _log.error(LogLine({"event": "fault", "request_id": g.get("request_id", "")} | fault(error)))
