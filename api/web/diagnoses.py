"""``/v1/diagnoses``: facts in, diagnosis out; nothing is kept."""

from flask import Blueprint, Response

from api.access import role
from api.answers import problems
from api.answers.answering import answer_request
from api.service import current
from api.web import replies, requests, schemas
from api.web.operations import Operation, operation
from engine.reasoning.request import RequestSchema

TAG = "diagnosis"
blueprint = Blueprint(TAG, __name__)


@blueprint.post("/v1/diagnoses")
@role("read")
@operation(Operation(TAG, schemas.AnswerSchema, RequestSchema))
def diagnose() -> Response:
    """Diagnose one machine from what was found on it.

    Nothing is kept. The same request gives the same answer, byte for byte.
    """
    status, document = answer_request(current().engine, requests.json_body())
    return replies.fresh(document) if status == 200 else problems.respond(document)
