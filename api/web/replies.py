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


def fresh(value: object) -> Response:
    """Return ``value`` as JSON; nobody keeps it."""
    return current_app.response_class(written(value), mimetype=JSON)


def kept(value: object) -> Response:
    """Return ``value`` as JSON that a client may keep while its tag stays the same."""
    return tagged(written(value), JSON)


def written(value: object) -> str:
    """Return a document, or plain data, as JSON."""
    return strict_json.dumps(value.to_dict() if isinstance(value, Document) else value)


def tagged(text: str, mimetype: str, policy: str | None = None) -> Response:
    """Return a text with its tag, 304 when the caller has it; ``policy`` is what it may load."""
    response = current_app.response_class(text, mimetype=mimetype)
    response.headers["Cache-Control"] = "no-cache"
    if policy is not None:
        response.headers["Content-Security-Policy"] = policy
    response.add_etag()
    response.make_conditional(request)
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
