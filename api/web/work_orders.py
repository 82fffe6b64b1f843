"""``/v1/cases/{id}/work-order``: a case to take along, as JSON, as a CSV row, or to print.

The form is in the address (``.json``, ``.csv``, ``.html``), so that a link names it.
"""

from collections.abc import Callable

from flask import Blueprint, Response

from api.access import role
from api.cases.work_order import WorkOrder, csv_text, html_text, stylesheet
from api.web import case_replies, replies
from api.web.case_requests import book, reading
from api.web.operations import operation
from api.web.requests import JSON

blueprint = Blueprint("work_orders", __name__)
case_replies.register(blueprint)
CSV, HTML = "text/csv", "text/html"


@blueprint.get("/v1/cases/<id_>/work-order.json")
@role("read")
@operation(reading(WorkOrder))
def get_work_order(id_: str) -> Response:
    """Return the work order as JSON."""
    return _respond(id_, JSON, replies.written)


@blueprint.get("/v1/cases/<id_>/work-order.csv")
@role("read")
@operation(reading(None, mimetype=CSV))
def get_work_order_row(id_: str) -> Response:
    """Return the work order as one row of a table."""
    response = _respond(id_, CSV, csv_text)
    name = f"case-{''.join(one for one in id_ if one.isascii() and one.isdigit())}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@blueprint.get("/v1/cases/<id_>/work-order.html")
@role("read")
@operation(reading(None, mimetype=HTML))
def get_work_order_page(id_: str) -> Response:
    """Return the work order as a page that prints."""
    response = _respond(id_, HTML, html_text)
    response.headers["Content-Security-Policy"] = replies.policy(stylesheet())
    return response


def _respond(id_: str, mimetype: str, write: Callable[[WorkOrder], str]) -> Response:
    return case_replies.tagged(write(book().work_order(id_)), mimetype)
