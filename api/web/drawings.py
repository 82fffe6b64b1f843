"""``/v1/drawings`` and ``/v1/circuits/{id}.svg``: the circuit drawn."""

import base64
import hashlib
from collections.abc import Sequence
from copy import deepcopy
from typing import Any

from flask import Blueprint, Response, current_app, request

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.answering import MAX_BYTES, answer_request
from api.answers.problems import ProblemError
from api.drawing import SHAPES, Shape, circuit_svg, in_full, stylesheet, svg
from api.service import current
from api.web import negotiation
from api.web.operations import diagnose_operation, page_operation, text_parameter
from engine.knowledge import items
from engine.knowledge.faults import unknown

blueprint = Blueprint("drawings", __name__)

SVG = "image/svg+xml"
SHAPE: dict[str, Sequence[str]] = {"shape": SHAPES}
SIDES: dict[str, Sequence[str]] = {"side": ("left", "right")}
COIL: dict[str, Sequence[str]] = {"coil": (*items.COILS, "unknown")}
_SHAPE_PARAMETER = text_parameter(
    "shape", "For a desk (wide, the default) or for a phone (tall).", members=SHAPES
)


def _draw_operation() -> dict[str, Any]:
    """Describe the drawing of a diagnosis: asked for like the diagnosis, answered as SVG."""
    operation = deepcopy(diagnose_operation())
    side = text_parameter("side", "Which of two brake solenoids.", members=SIDES["side"])
    answered = operation["responses"]["200"]
    answered["description"] = "The circuit with what was found, what is suspected, what is next."
    answered["content"] = {SVG: {"schema": {"type": "string"}}}
    return operation | {
        "operationId": "draw",
        "summary": "Draw the circuit of one machine with what its diagnosis says.",
        "parameters": [_SHAPE_PARAMETER, side, *operation["parameters"]],
    }


def _circuit_operation() -> dict[str, Any]:
    """Describe the drawing of a healthy circuit."""
    operation = page_operation(
        "drawCircuit",
        "One of the circuits, healthy, drawn.",
        SVG,
        text_parameter("id", "Id of one of the circuits.", where="path"),
        text_parameter("coil", "Coil style; unknown is the default.", members=COIL["coil"]),
        _SHAPE_PARAMETER,
        refusals=("404", "406"),
    )
    return operation | {"tags": ["knowledge"]}


OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/v1/drawings", "post"): _draw_operation(),
    ("/v1/circuits/{id}.svg", "get"): _circuit_operation(),
}


@blueprint.post("/v1/drawings")
@role("read")
def draw() -> Response:
    """Diagnose a request and answer with the drawing of it."""
    query = negotiation.query(SHAPE | SIDES)
    negotiation.require_json_body()
    negotiation.require_json_accepted(SVG)
    raw = request.get_data(cache=False)
    if len(raw) > MAX_BYTES:
        return problems.respond(problems.document(413))
    try:
        asked = in_full(strict_json.loads(raw))
    except strict_json.JsonError as fault:
        return problems.respond(problems.json_document(fault))
    status, document = answer_request(current().engine, asked)
    if status != 200:
        return problems.respond(document)
    assert isinstance(asked, dict)  # else the engine had refused it
    side = _side(query, document)
    picture = svg(current().knowledge, asked, document, shape=_shape(query), side=side)
    return _respond(picture)


@blueprint.get("/v1/circuits/<id_>.svg")
def draw_circuit(id_: str) -> Response:
    """Draw one healthy circuit. Raises ProblemError 404 that names the nearest id there is."""
    query = negotiation.query(COIL | SHAPE)
    negotiation.require_json_accepted(SVG)
    knowledge = current().knowledge
    if id_ not in knowledge.circuits:
        message = unknown("circuit", id_, knowledge.circuits)
        raise ProblemError(404, message[:1].upper() + message[1:] + ".", errors=[("id", message)])
    coil = query.get("coil", "unknown")
    response = _respond(circuit_svg(knowledge, id_, coil, shape=_shape(query)))
    response.headers["Cache-Control"] = "no-cache"
    response.add_etag()
    response.make_conditional(request)
    return response


def _shape(query: dict[str, str]) -> Shape:
    return "tall" if query.get("shape") == "tall" else "wide"


def _side(query: dict[str, str], document: dict[str, Any]) -> str | None:
    """Return the side asked for. Raises ProblemError 422 when no finding was made on it."""
    side = query.get("side")
    if side is not None and side not in document.get("sides", {}):
        message = f"no finding is of the {side} side; give a finding its side, or leave this out"
        raise ProblemError(422, "The query does not fit.", errors=[("query.side", message)])
    return side


def _respond(picture: str) -> Response:
    """Return a drawing that may use its own style sheet, known by its digest, and nothing else."""
    response = current_app.response_class(picture, mimetype=SVG)
    digest = base64.b64encode(hashlib.sha256(stylesheet().encode()).digest()).decode()
    response.headers["Content-Security-Policy"] = (
        f"default-src 'none'; style-src 'sha256-{digest}'; frame-ancestors 'none'"
    )
    return response
