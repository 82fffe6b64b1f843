"""What a caller sends to the cases: body, query, who is speaking, and the version it has seen."""

import re
from typing import Any

from flask import request
from marshmallow import Schema

from api.access import caller
from api.access.roles import LOCAL
from api.answers.problems import ProblemError
from api.cases import Book, StaleCase, texts
from api.cases.case import Case
from api.service import current
from api.web import requests
from api.web.operations import JsonSchema, Operation
from api.web.requests import JSON, QuerySchema

# A proxy that compresses makes our tag weak, or puts the encoding behind it: it is ours still.
_TAG = re.compile(r'(?:W/)?"([0-9]{1,9})(?:[-:;](?:gzip|br|zstd|deflate))?"', re.ASCII)
NO_VERSION = "If-Match names no version of a case: send the ETag as it was answered, or '*'."
NO_STORE = (
    "This service keeps nothing. The setting 'database' names the store; 'threewire db upgrade' "
    "sets it up."
)


TAG = "cases"
PATH: dict[str, JsonSchema] = {
    "id": {
        "type": "string",
        "pattern": r"^\d{4}[ .-]?\d{4}$",
        "description": "Number of the case; a gap, dots or hyphens between its digits do not "
        "matter.",
    },
    "place": {
        "type": "integer",
        "minimum": 1,
        "maximum": 1000,
        "description": "Place of the finding in the case, counted from 1.",
    },
}


def reading(
    answer: type[Any] | None, *headers: str, query: type[QuerySchema] = QuerySchema,
    mimetype: str = JSON, refusals: tuple[int, ...] = (),
) -> Operation:  # fmt: skip
    """Return the operation of a GET: its answer has a tag, and needs a store."""
    return Operation(
        TAG, answer, query=query, mimetype=mimetype, path=PATH, sends=("ETag",),
        headers=(*headers, "IfNoneMatch"), refusals=(503, *refusals),
    )  # fmt: skip


def writing(
    body: type[Schema] | JsonSchema, *headers: str, status: int = 200, opens: bool = False
) -> Operation:
    """Return the operation of a step: it answers with the case, and may find it changed."""
    refused = () if opens else (409, 412, 428) if "IfMatchNeeded" in headers else (409, 412)
    sends = ("ETag", *("Idempotent-Replayed",) * ("IdempotencyKey" in headers))
    return Operation(
        TAG, Case, body, path=PATH, status=status, headers=headers,
        sends=(*sends, "Location") if status == 201 else sends, refusals=(503, *refused),
    )  # fmt: skip


def book() -> Book:
    """Return the case book. Raises ProblemError 503 where the service has no store."""
    service = current()
    if service.database is None:
        raise ProblemError(503, NO_STORE)
    return Book.of(service)


def body() -> dict[str, Any]:
    """Return the request's body, a JSON object. Raises ProblemError 400, 413 or 422."""
    value = requests.json_body()
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
    fault = texts.name_fault(said)
    if fault:
        raise ProblemError(422, "The name does not fit.", errors=[("by", fault)])
    return str(said) if key == LOCAL else f"{said} via {key.name}"


def expected(number: str, required: bool = False) -> int | None:
    """Return the version that If-Match names; None for any.

    Raises ProblemError 428 where it is required and not there, StaleCase where it names none.
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
    versions = {int(tag) for tag in _TAG.findall(header)}
    there = book().get(number)
    if not versions:
        raise StaleCase(there, book().steps(number), NO_VERSION)
    if len(versions) == 1:
        return versions.pop()
    return there.version if there.version in versions else max(versions)
