"""How cases are answered: ETags, what went wrong, and the same answer to the same key."""

import re
from collections.abc import Callable
from functools import partial

from flask import Blueprint, Response, current_app, request

from api import strict_json
from api.access import caller
from api.answers import problems
from api.answers.problems import ProblemError
from api.cases import Book, CaseError, NoSuchCase, NoSuchFinding, StaleCase, idempotency
from api.cases.case import Case
from api.cases.idempotency import Also, Reply, RequestKey
from api.web.requests import JSON
from engine import RequestError

_KEY = re.compile(r"[!-~]{1,255}", re.ASCII)
Work = Callable[[Also | None], Case]


def etag(version: object) -> str:
    """Return the strong ETag of a version."""
    return f'"{version}"'


def case_reply(case: Case, status: int = 200) -> Reply:
    """Return the reply that carries a case."""
    headers = {"ETag": etag(case.version)}
    if status == 201:
        headers["Location"] = f"/v1/cases/{case.number}"
    return Reply(status, headers, strict_json.dumps(case.to_dict()))


def send(answer: Reply, mimetype: str = JSON) -> Response:
    """Return the answer as a response; 304 when the caller has it already."""
    response = current_app.response_class(answer.body, answer.status, mimetype=mimetype)
    response.headers.update(answer.headers)
    response.headers["Cache-Control"] = "private, no-cache"
    reading = request.method in ("GET", "HEAD")
    if reading and request.if_none_match.contains_weak(answer.headers["ETag"].strip('"')):
        response.status_code = 304
        response.set_data(b"")
        response.headers.pop("Content-Type", None)
    return response


def tagged(text: str, mimetype: str = JSON, tag: str = "") -> Response:
    """Return a text about cases under a tag, or its digest; 304 when the caller has it already."""
    found = tag or idempotency.fingerprint("", mimetype, text.encode())[:32]
    return send(Reply(200, {"ETag": etag(found)}, text), mimetype)


def picture(jpeg: bytes, name: str) -> Response:
    """Return a photo of a case, which never changes, as a response."""
    response = current_app.response_class(jpeg, mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, no-cache"
    response.set_etag(name)
    return response.make_conditional(request)  # type: ignore[return-value]  # our own class


def once(book: Book, work: Work, status: int = 200) -> Response:
    """Do the work, or give the answer that is kept under the request's Idempotency-Key.

    Raises ProblemError 422 for a key that came with another request, and what ``work`` raises.
    """
    reply = idempotency.once(
        book.database, _request_key(), work, partial(case_reply, status=status)
    )
    response = send(reply)
    if reply.replayed:
        response.headers["Idempotent-Replayed"] = "true"
    return response


def _request_key() -> RequestKey | None:
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return None
    if not _KEY.fullmatch(key):
        message = "must be 1 to 255 visible ASCII characters"
        raise ProblemError(
            422, "The key does not fit.", errors=[("header.Idempotency-Key", message)]
        )
    path = request.full_path if request.query_string else request.path
    asked = idempotency.fingerprint(request.method, path, request.get_data())
    return RequestKey(caller().id, key, asked)


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
    found = problems.document(412, str(error))
    more = {
        "current": error.current.to_dict(),
        "changes": [one.to_dict() for one in error.changes],
    }
    return problems.respond(found | more, {"ETag": etag(error.current.version)})


def _on_faults(error: RequestError) -> Response:
    return problems.respond(problems.faults_document(error.faults, "kept"))


def _on_reused(_: idempotency.KeyReusedError) -> Response:
    message = "was used for another request within a day; take a new one"
    found = problems.document(422, "The key does not fit.", [("header.Idempotency-Key", message)])
    return problems.respond(found)
