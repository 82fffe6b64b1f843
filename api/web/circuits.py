"""``/v1/circuits``: the circuits that are solved, one a duty and control type."""

from flask import Blueprint, Response

from api.service import current
from api.web import listing
from api.web.operations import item_operation, list_operation
from engine.knowledge import items

blueprint = Blueprint("circuits", __name__)

FILTERS = {name: listing.MACHINE_FILTERS[name] for name in ("duty", "control")}

OPERATIONS = {
    ("/v1/circuits", "get"): list_operation(
        "circuits", "Circuit", FILTERS, "The circuits that are solved, one a duty and control type."
    ),
    ("/v1/circuits/{id}", "get"): item_operation("circuits", "Circuit"),
}


@blueprint.get("/v1/circuits")
def list_circuits() -> Response:
    """List the circuits of the duty and control type that the query names."""
    return listing.list_items("circuits", current().knowledge.circuits, FILTERS, _matches)


@blueprint.get("/v1/circuits/<id_>")
def get_circuit(id_: str) -> Response:
    """Return one circuit."""
    return listing.one_item("circuit", current().knowledge.circuits, id_)


def _matches(circuit: items.Circuit, query: dict[str, str]) -> bool:
    return all(getattr(circuit, name) == value for name, value in query.items())
