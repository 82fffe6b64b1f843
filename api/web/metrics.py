"""``/metrics``: the service's numbers, for Prometheus.

It needs a key with the role ``read``: a scraper should hold a key of its own that can do no more.
"""

from typing import Any

from flask import Blueprint, Response, current_app

from api.access import role
from api.service import current
from api.web import negotiation
from api.web.operations import page_operation

MEDIA_TYPE = "text/plain"
blueprint = Blueprint("metrics", __name__)

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/metrics", "get"): page_operation(
        "metrics", "The service's numbers, in Prometheus' text format.", MEDIA_TYPE
    )
    | {"tags": ["service"]},
}


@blueprint.get("/metrics")
@role("read")
def show() -> Response:
    """Give the numbers of all workers of this server."""
    from api.web import prometheus as metrics

    negotiation.query({})
    response = current_app.response_class(metrics.page(current()))
    response.headers["Content-Type"] = f"{MEDIA_TYPE}; version=0.0.4; charset=utf-8"
    return response
