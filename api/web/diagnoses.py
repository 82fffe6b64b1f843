"""``/v1/diagnoses``: facts in, diagnosis out; nothing is kept."""

from typing import Any

from flask import Blueprint, Response, current_app, request

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.answering import answer
from api.service import current
from api.web import negotiation
from api.web.operations import diagnose_operation

blueprint = Blueprint("diagnoses", __name__)

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/v1/diagnoses", "post"): diagnose_operation()
}


@blueprint.post("/v1/diagnoses")
@role("read")
def diagnose() -> Response:
    """Answer one request. The engine checks the facts; see engine.reasoning.request."""
    negotiation.query({})
    negotiation.require_json_body()
    negotiation.require_json_accepted()
    status, document = answer(current().engine, request.get_data(cache=False))
    if status != 200:
        return problems.respond(document)
    return current_app.response_class(strict_json.dumps(document), mimetype=negotiation.JSON)
