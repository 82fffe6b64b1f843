"""One error body for everything: problem details as in RFC 9457, with every fault and its place."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus
from itertools import islice
from typing import Any

from flask import Flask, Response, current_app, g, request
from werkzeug.exceptions import HTTPException

from api import strict_json
from api.logs import LogLine, fault
from api.strict_json import JsonObject
from engine.answer import documents

MEDIA_TYPE = "application/problem+json"
MOST_ERRORS = 100

_log = logging.getLogger("threewire.api")

# type, title and what to do; `type` is a relative reference that names the kind for a program.
_KINDS: dict[int, tuple[str, str, str]] = {
    400: ("malformed", "The request cannot be read", "Correct the request and send it again."),
    401: ("no-key", "A key is needed", "Send 'Authorization: Bearer' and a key that is in force."),
    403: ("not-allowed", "This key may not do that", "Use a key with the role that is named."),
    404: ("not-found", "There is no such thing here", "See /openapi.json for what there is."),
    405: ("method-not-allowed", "This method is not taken here", "The Allow header names them."),
    406: ("not-acceptable", "No answer in that form", "Answers are application/json; accept it."),
    409: ("conflict", "The case does not take this now", "Look at its state; reopen it first."),
    412: (
        "changed-meanwhile",
        "The case has changed",
        "See 'changes'; send it again with the new ETag if it still holds.",
    ),
    413: ("too-large", "The request is too large", "Send one machine's findings, at most 1 MiB."),
    415: ("unsupported-media-type", "The body is not JSON", "Send application/json in UTF-8."),
    422: ("bad-facts", "The facts do not fit", "Each error names the place and what is wrong."),
    428: (
        "version-needed",
        "Say which version you saw",
        "Send If-Match with the case's ETag, or '*'.",
    ),
    429: ("too-many", "Too many requests", "Wait as long as Retry-After says."),
    431: ("header-too-large", "The header is too large", "Send fewer or shorter header fields."),
    500: ("internal", "The service failed", "Nothing you sent is at fault. Report the request id."),
    501: ("not-implemented", "This is not taken here", "Send the body with a length, or chunked."),
    503: ("not-ready", "The service is not ready", "Try again later, or look at its log."),
}


class ProblemError(Exception):
    """Raised anywhere in a view to answer with a problem document.

    ``errors`` are (path, message) pairs; ``headers`` go on the response as they are.
    """

    def __init__(
        self,
        status: int,
        detail: str | None = None,
        errors: Iterable[tuple[str, str]] = (),
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = list(errors)
        self.headers = headers or {}


def document(
    status: int, detail: str | None = None, errors: Iterable[tuple[str, str]] = ()
) -> JsonObject:
    """Return the members of a problem document, without its request id.

    The command line writes the same document for a bad line, so that all doors say the same.
    """
    kind, title, advice = _KINDS.get(status) or _KINDS[400 if status < 500 else 500]
    told = [{"path": path, "message": message} for path, message in islice(errors, MOST_ERRORS)]
    return {
        "type": f"/problems/{kind}",
        "title": title,
        "status": status,
        "detail": detail or advice,
        "errors": told,
    }


def faults_document(faults: Iterable[Any], done: str = "diagnosed") -> JsonObject:
    """Return the 422 document for an engine error's faults (each with ``path`` and ``message``).

    ``done`` is what was not done with the request.
    """
    errors = pairs(faults)
    return document(422, counted(len(errors), done), errors)


def pairs(faults: Iterable[Any]) -> list[tuple[str, str]]:
    """Return path and message of each fault, as a problem document takes them."""
    return [(fault.path, fault.message) for fault in faults]


def json_document(fault: strict_json.JsonError) -> JsonObject:
    """Return the 400 document for text that is not taken as JSON."""
    return document(400, str(fault), [("", str(fault))])


@dataclass(frozen=True)
class ProblemKind(documents.Document):
    """What a kind of problem means."""

    kind: str
    title: str
    status: int
    advice: str


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
    return {
        kind: ProblemKind(kind, title, status, advice)
        for status, (kind, title, advice) in _KINDS.items()
    }


def counted(number: int, done: str) -> str:
    """Return how many things are wrong, as a sentence, and what was not done therefore."""
    if number == 1:
        return f"One thing in the request is wrong; nothing was {done}."
    return f"{number} things in the request are wrong; nothing was {done}."


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
