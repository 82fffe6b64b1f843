"""What a caller sends to the cases: body, query, who is speaking, and the version it has seen."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from flask import request

from api import strict_json
from api.access import caller
from api.access.roles import LOCAL
from api.answers.answering import MAX_BYTES
from api.answers.problems import ProblemError
from api.cases import Book, texts
from api.service import current
from api.web import negotiation
from engine.knowledge.faults import nearest

_TAG = re.compile(r'(W/)?"([^"]*)"')
_VERSION = re.compile(r"[0-9]{1,9}", re.ASCII)
NEVER = 0  # a version that no case has: a tag that is not ours matches nothing
NO_STORE = (
    "This service keeps nothing. The setting 'database' names the store; 'threewire db upgrade' "
    "sets it up."
)


def book() -> Book:
    """Return the case book. Raises ProblemError 503 where the service has no store."""
    service = current()
    if service.database is None:
        raise ProblemError(503, NO_STORE)
    return Book.of(service)


def body() -> dict[str, Any]:
    """Return the request's body, a JSON object. Raises ProblemError 400, 413, 415 or 422."""
    negotiation.require_json_body()
    raw = request.get_data()
    if len(raw) > MAX_BYTES:
        raise ProblemError(413)
    try:
        value = strict_json.loads(raw)
    except strict_json.JsonError as fault:
        raise ProblemError(400, str(fault), errors=[("", str(fault))]) from None
    if not isinstance(value, dict):
        raise ProblemError(422, "The body is not a JSON object.", errors=[("", "send an object")])
    return value


def pop_author(sent: dict[str, Any]) -> str:
    """Take ``by`` out of the body and return who is written into the case.

    That is the caller's name, and before it the person's if ``by`` names one. Raises ProblemError
    422 for a name that is no short text.
    """
    key = caller()
    said = sent.pop("by", None)
    if said is None or said == "":
        return key.name
    fault = texts.fault_of(said, texts.NAME)
    if fault or not said.strip():
        raise ProblemError(422, "The name does not fit.", errors=[("by", fault or "is blank")])
    return str(said) if key == LOCAL else f"{said} via {key.name}"


def expected(number: str, required: bool = False) -> int | None:
    """Return the version that If-Match names; None for any.

    Raises ProblemError 428 where it is required and not there.
    """
    if "If-Match" not in request.headers:
        if required:
            raise ProblemError(
                428, "Send If-Match with the ETag of the case as you have seen it, or '*'."
            )
        return None
    header = ",".join(request.headers.getlist("If-Match")).strip()
    if header == "*":
        return None
    versions = {
        int(tag) for weak, tag in _TAG.findall(header) if not weak and _VERSION.fullmatch(tag)
    }
    if len(versions) < 2:
        return max(versions, default=NEVER)
    there = book().get(number).version
    return there if there in versions else max(versions)


def query(allowed: Sequence[str]) -> dict[str, str]:
    """Return the query parameters, each a free text given once. Raises ProblemError 422."""
    faults = []
    for name in request.args:
        if name not in allowed:
            known = f"; known here: {', '.join(allowed)}" if allowed else "; none is taken here"
            message = f"unknown query parameter{nearest(name[:100], allowed)}{known}"
            faults.append((f"query.{strict_json.shorten(name)}", message))
        elif len(request.args.getlist(name)) > 1:
            faults.append((f"query.{name}", "given more than once; give it once"))
    if faults:
        raise ProblemError(422, "The query does not fit.", errors=faults)
    return dict(request.args.items())


def whole(found: Mapping[str, str], name: str, default: int, low: int, high: int) -> int:
    """Return a whole number of the query. Raises ProblemError 422."""
    text = found.get(name)
    if text is None:
        return default
    if not _VERSION.fullmatch(text) or not low <= int(text) <= high:
        message = f"must be a whole number from {low} to {high}"
        raise ProblemError(422, "The query does not fit.", errors=[(f"query.{name}", message)])
    return int(text)
