"""``/v1/drawings`` and ``/v1/circuits/{id}.svg``: the circuit drawn."""

from flask import Blueprint, Response, current_app

from api.access import role
from api.answers import problems
from api.answers.answering import answer_request
from api.drawing import SHAPES, Shape, circuit_svg, in_full, stylesheet, svg
from api.service import current
from api.web import replies, requests
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, choice
from engine.knowledge import items
from engine.reasoning.request import RequestSchema

blueprint = Blueprint("drawings", __name__)

SVG = "image/svg+xml"
SIDES = ("left", "right")


class ShapeQuery(QuerySchema):
    """How it is drawn."""

    shape = choice("shape", SHAPES, "For a desk (wide, the default) or for a phone (tall).")


class DrawingQuery(ShapeQuery):
    """What of a diagnosis is drawn."""

    side = choice("side", SIDES, "Which of two brake solenoids.")


class CircuitDrawingQuery(ShapeQuery):
    """Which circuit is drawn."""

    coil = choice("coil", (*items.COILS, "unknown"), "Coil style; unknown is the default.")


@blueprint.post("/v1/drawings")
@role("read")
@operation(Operation("diagnosis", body=RequestSchema, query=DrawingQuery, mimetype=SVG))
def draw(shape: Shape = "wide", side: str | None = None) -> Response:
    """Draw the circuit of one machine with what was found, what is suspected, what is next."""
    asked = in_full(requests.json_body())
    status, document = answer_request(current().engine, asked)
    if status != 200:
        return problems.respond(document)
    assert isinstance(asked, dict)  # else the engine had refused it
    if side is not None and side not in document.get("sides", {}):
        message = f"no finding is of the {side} side; give a finding its side, or leave this out"
        raise requests.bad_query({"side": message})
    picture = svg(current().knowledge, asked, document, shape=shape, side=side)
    response = current_app.response_class(picture, mimetype=SVG)
    response.headers["Content-Security-Policy"] = replies.policy(stylesheet())
    return response


@blueprint.get("/v1/circuits/<id_>.svg")
@operation(Operation("knowledge", query=CircuitDrawingQuery, mimetype=SVG))
def draw_circuit(id_: str, shape: Shape = "wide", coil: str = "unknown") -> Response:
    """Draw one of the circuits, healthy."""
    knowledge = current().knowledge
    if id_ not in knowledge.circuits:
        raise replies.missing("circuit", id_, knowledge.circuits)
    picture = circuit_svg(knowledge, id_, coil, shape=shape)
    return replies.tagged(picture, SVG, replies.policy(stylesheet()))
