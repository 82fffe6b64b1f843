"""Answers: JSON that is made for this request alone, and what a client may keep for a while."""

import base64
import hashlib
from collections.abc import Iterable

from flask import Response, current_app, request

from api import strict_json
from api.answers.problems import ProblemError
from api.web.requests import JSON
from engine.answer.documents import Document
from engine.knowledge.faults import unknown

PRIVATE = "private, no-cache"  # of what cases say
READING = ("GET", "HEAD")
CHANGED = "What is here has another ETag than If-Match names; leave it out to read it."


def fresh(value: object) -> Response:
    """Return ``value`` as JSON; nobody keeps it."""
    return current_app.response_class(written(value), mimetype=JSON)


def kept(value: object, cache: str = "no-cache", tag: str = "") -> Response:
    """Return ``value`` as JSON that a client may keep while its tag stays the same."""
    return tagged(written(value), JSON, cache=cache, tag=tag)


def written(value: object) -> str:
    """Return a document, or plain data, as JSON."""
    return strict_json.dumps(value.to_dict() if isinstance(value, Document) else value)


def tagged(
    body: str | bytes, mimetype: str, policy: str | None = None, cache: str = "no-cache",
    tag: str = "",
) -> Response:  # fmt: skip
    """Return a body under a tag, or its digest; ``policy`` is what the page may load.

    Raises ProblemError 412 for a reader who wants what had another tag (RFC 9110, 13.1.1).
    """
    response = current_app.response_class(body, mimetype=mimetype)
    if policy is not None:
        response.headers["Content-Security-Policy"] = policy
    tag = tag or hashlib.sha256(response.data).hexdigest()[:32]
    wanted = request.if_match if request.method in READING else None
    if wanted and not wanted.contains_weak(tag):
        raise ProblemError(412, CHANGED)
    return conditional(response, tag, cache)


def conditional(response: Response, tag: str, cache: str) -> Response:
    """Return a response under its tag: 304 when the caller has it."""
    response.headers["Cache-Control"] = cache
    response.set_etag(tag)
    if request.method in READING and request.if_none_match.contains_weak(tag):
        response.status_code = 304
        response.set_data(b"")
        del response.headers["Content-Type"]
    return response


def policy(style: str) -> str:
    """Return the policy of a page that uses its own style sheet, known by its digest, alone."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


def missing(kind: str, wanted: str, known: Iterable[str], name: str = "id") -> ProblemError:
    """Return the 404 for an id that does not exist; it names the nearest that does."""
    message = unknown(kind, wanted, known)
    detail = message[:1].upper() + message[1:] + "."
    return ProblemError(404, detail, errors=[(name, message)])
