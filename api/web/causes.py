"""``/v1/causes``: what can be wrong."""

from flask import Blueprint, Response

from api.service import current
from api.web import listing
from api.web.operations import item_operation, list_operation
from engine.knowledge import items

blueprint = Blueprint("causes", __name__)

FILTERS = listing.MACHINE_FILTERS | {"section": items.SECTIONS}

OPERATIONS = {
    ("/v1/causes", "get"): list_operation("causes", "Cause", FILTERS, "What can be wrong."),
    ("/v1/causes/{id}", "get"): item_operation("causes", "Cause"),
}


@blueprint.get("/v1/causes")
def list_causes() -> Response:
    """List what can occur on the machine that the query describes."""
    return listing.list_items("causes", current().knowledge.causes, FILTERS, _matches)


@blueprint.get("/v1/causes/<id_>")
def get_cause(id_: str) -> Response:
    """Return one cause."""
    return listing.one_item("cause", current().knowledge.causes, id_)


def _matches(cause: items.Cause, query: dict[str, str]) -> bool:
    return listing.applies(cause, query) and query.get("section", cause.section) == cause.section
