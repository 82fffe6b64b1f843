"""``/v1/sums``: the bench sums, listed with their fields and worked; nothing is kept."""

from typing import Any

from flask import Blueprint, Response, current_app, request

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.answering import MAX_BYTES
from api.answers.problems import ProblemError
from api.service import current
from api.sums import SUMS, compute, explain, listed, unknown_sum
from api.sums.entries import json_schema
from api.web import listing, negotiation
from api.web.operations import diagnose_operation, item_operation, list_operation
from engine import RequestError

blueprint = Blueprint("sums", __name__)


def _work_operation() -> dict[str, Any]:
    """Describe the working of a sum: as the diagnosis, with an id and other bodies."""
    operation = diagnose_operation()
    inputs = [json_schema(one.title, one.schema) for one in SUMS.values()]
    examples = {one.id: {"summary": one.title, "value": dict(one.example)} for one in SUMS.values()}
    identity = {
        "name": "id", "in": "path", "required": True, "description": "Id of one of the sums.",
        "schema": {"type": "string", "enum": list(SUMS)},
    }  # fmt: skip
    content = {"application/json": {"schema": {"anyOf": inputs}, "examples": examples}}
    answer = operation["responses"]["200"]
    answer["description"] = "What came out."
    answer["content"]["application/json"]["schema"] = {"$ref": "#/components/schemas/SumAnswer"}
    return operation | {
        "operationId": "workSum",
        "tags": ["knowledge"],
        "summary": "Work one of the bench sums.",
        "parameters": [identity, *operation["parameters"]],
        "requestBody": {"required": True, "description": "Its fields.", "content": content},
        "responses": operation["responses"]
        | {"404": {"$ref": "#/components/responses/404"}, "200": answer},
    }


OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/v1/sums", "get"): list_operation("sums", "Sum", {}, "The bench sums and their fields."),
    ("/v1/sums/{id}", "get"): item_operation("sums", "Sum"),
    ("/v1/sums/{id}", "post"): _work_operation(),
}


@blueprint.get("/v1/sums")
def list_sums() -> Response:
    """List the sums with the fields that each takes."""
    negotiation.query({})
    return listing.respond(listed(current().knowledge))


@blueprint.get("/v1/sums/<id_>")
def get_sum(id_: str) -> Response:
    """Return what one sum takes."""
    negotiation.query({})
    _require(id_)
    return listing.respond(explain(SUMS[id_]))


@blueprint.post("/v1/sums/<id_>")
@role("read")
def work_sum(id_: str) -> Response:
    """Work one sum. Raises ProblemError that names every field that does not fit."""
    negotiation.query({})
    _require(id_)
    negotiation.require_json_body()
    negotiation.require_json_accepted()
    status, document = _answer(id_, request.get_data(cache=False))
    if status != 200:
        return problems.respond(document)
    return current_app.response_class(strict_json.dumps(document), mimetype=negotiation.JSON)


def _require(name: str) -> None:
    """Raise ProblemError 404 with the nearest sum for one that does not exist."""
    if name not in SUMS:
        message = unknown_sum(name, list(SUMS))
        raise ProblemError(404, message, errors=[("id", message)])


def _answer(name: str, raw: bytes) -> tuple[int, dict[str, Any]]:
    """Return the status and either the answer or a problem document."""
    if len(raw) > MAX_BYTES:
        return 413, problems.document(413)
    try:
        return 200, compute(current().knowledge, name, strict_json.loads(raw))
    except strict_json.JsonError as fault:
        return 400, problems.json_document(fault)
    except RequestError as error:
        errors = [(fault.path, fault.message) for fault in error.faults]
        return 422, problems.document(422, "The inputs of the sum do not fit.", errors)
