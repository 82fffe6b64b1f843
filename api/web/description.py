"""``/openapi.json``: the description of this interface, with examples worked on the spot."""

from typing import Any

from flask import Blueprint, Response, current_app

from api.access import described, role
from api.service import current
from api.web import listing, negotiation, openapi
from api.web.operations import description_operation

blueprint = Blueprint("description", __name__)

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/openapi.json", "get"): description_operation()
}


@blueprint.get("/openapi.json")
@role("public")
def describe() -> Response:
    """Return the OpenAPI document; it is built at the first call and kept."""
    negotiation.query({})
    service = current()
    if "openapi" not in service.cache:
        document = openapi.build(service)
        described.describe(document, current_app)
        service.cache["openapi"] = document
    return listing.respond(service.cache["openapi"])
