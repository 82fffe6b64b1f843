"""``/v1/checks``: what can be asked, looked at, tried or measured."""

from flask import Blueprint, Response

from api.service import current
from api.web import listing
from api.web.operations import item_operation, list_operation
from engine.knowledge import items

blueprint = Blueprint("checks", __name__)

FILTERS = listing.MACHINE_FILTERS | {"kind": items.KINDS}

OPERATIONS = {
    ("/v1/checks", "get"): list_operation(
        "checks", "Check", FILTERS, "What can be asked, looked at, tried or measured."
    ),
    ("/v1/checks/{id}", "get"): item_operation("checks", "Check"),
}


@blueprint.get("/v1/checks")
def list_checks() -> Response:
    """List what can occur on the machine that the query describes."""
    return listing.list_items("checks", current().knowledge.checks, FILTERS, _matches)


@blueprint.get("/v1/checks/<id_>")
def get_check(id_: str) -> Response:
    """Return one check."""
    return listing.one_item("check", current().knowledge.checks, id_)


def _matches(check: items.Check, query: dict[str, str]) -> bool:
    return listing.applies(check, query) and query.get("kind", check.kind) == check.kind
