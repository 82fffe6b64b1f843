"""What the views of cases share: who speaks, which version was seen, the same answer to one key.

With it ETags, and what went wrong.
"""

import re
from collections.abc import Callable
from functools import partial
from typing import Any

from flask import Blueprint, Response, current_app, request
from marshmallow import Schema

from api.access import LOCAL, caller
from api.answers import problems
from api.answers.problems import ProblemError
from api.cases import Book, CaseError, NoSuchCase, NoSuchFinding, StaleCase, idempotency, texts
from api.cases.case import Case
from api.cases.idempotency import Also, Reply, RequestKey
from api.service import current
from api.web import replies, requests
from api.web.operations import JsonSchema, Operation
from api.web.requests import JSON, QuerySchema
from engine import RequestError

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
NO_VERSION = "If-Match names no version of a case: send the ETag as it was answered, or '*'."
NO_STORE = (
    "This service keeps nothing. The setting 'database' names the store; 'threewire db upgrade' "
    "sets it up."
)
# A proxy that compresses makes our tag weak, or puts the encoding behind it: it is ours still.
_TAG = re.compile(r'(?:W/)?"([0-9]{1,9})(?:[-:;](?:gzip|br|zstd|deflate))?"', re.ASCII)
_KEY = re.compile(r"[!-~]{1,255}", re.ASCII)
Work = Callable[[Also | None], Case]


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


def said() -> tuple[dict[str, Any], str]:
    """Return the request's body without ``by``, and who is written into the case.

    That is the caller's name, and before it the person's if ``by`` names one. Raises ProblemError
    400, 413, or 422 for what is no object and for a name that is no short text.
    """
    sent = requests.json_body()
    if not isinstance(sent, dict):
        raise ProblemError(422, "The body is not a JSON object.", errors=[("", "send an object")])
    key, by = caller(), sent.pop("by", None)
    if by is None or by == "":
        return sent, key.name
    fault = texts.name_fault(by)
    if fault:
        raise ProblemError(422, "The name does not fit.", errors=[("by", fault)])
    return sent, str(by) if key == LOCAL else f"{by} via {key.name}"


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


def case_reply(case: Case, status: int = 200) -> Reply:
    """Return the reply that carries a case."""
    headers = {"ETag": f'"{case.version}"'}
    if status == 201:
        headers["Location"] = f"/v1/cases/{case.number}"
    return Reply(status, headers, replies.written(case))


def send(answer: Reply) -> Response:
    """Return a reply as a response; 304 when the caller has it already."""
    response = current_app.response_class(answer.body, answer.status, mimetype=JSON)
    response.headers.update(answer.headers)
    if answer.replayed:
        response.headers["Idempotent-Replayed"] = "true"
    return replies.conditional(response, answer.headers["ETag"].strip('"'), replies.PRIVATE)


def once(work: Work, status: int = 200) -> Response:
    """Do the work, or give the answer that is kept under the request's Idempotency-Key.

    Raises ProblemError 422 for a key that came with another request, and what ``work`` raises.
    """
    made = partial(case_reply, status=status)
    return send(idempotency.once(book().database, _request_key(), work, made))


def _request_key() -> RequestKey | None:
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return None
    if not _KEY.fullmatch(key):
        message = "must be 1 to 255 visible ASCII characters"
        raise ProblemError(422, _NO_KEY, errors=[("header.Idempotency-Key", message)])
    path = request.full_path if request.query_string else request.path
    asked = idempotency.fingerprint(request.method, path, request.get_data())
    return RequestKey(caller().id, key, asked)


_NO_KEY = "The key does not fit."


def register(blueprint: Blueprint) -> None:
    """Make what the case book raises in the views of ``blueprint`` a problem document."""
    blueprint.register_error_handler(NoSuchCase, _on_no_case)
    blueprint.register_error_handler(CaseError, _on_refused)
    blueprint.register_error_handler(StaleCase, _on_stale)
    blueprint.register_error_handler(RequestError, _on_faults)
    blueprint.register_error_handler(idempotency.KeyReusedError, _on_reused)


def _on_no_case(error: NoSuchCase) -> Response:
    hint = f" Perhaps {' or '.join(error.nearest[:3])}?" if error.nearest else ""
    found = problems.document(404, f"{error}{hint}", [("number", str(error))])
    return problems.respond(found | {"slip": error.slip, "nearest": error.nearest})


def _on_refused(error: CaseError) -> Response:
    status = 404 if isinstance(error, NoSuchFinding) else 409
    return problems.respond(problems.document(status, str(error)))


def _on_stale(error: StaleCase) -> Response:
    """Answer 412 with the case as it is and what the others did to it."""
    found = problems.document(412, str(error)) | {
        "current": error.current.to_dict(),
        "changes": [one.to_dict() for one in error.changes],
    }
    return problems.respond(found, {"ETag": f'"{error.current.version}"'})


def _on_faults(error: RequestError) -> Response:
    return problems.respond(problems.faults_document(error.faults, "kept"))


def _on_reused(_: idempotency.KeyReusedError) -> Response:
    message = "was used for another request within a day; take a new one"
    found = problems.document(422, _NO_KEY, [("header.Idempotency-Key", message)])
    return problems.respond(found)
