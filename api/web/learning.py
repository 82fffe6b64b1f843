"""``/v1/learning``: what closed cases have taught this installation."""

from flask import Blueprint, Response

from api.access import role
from api.cases.learning import report
from api.service import current
from api.web import listing
from api.web.case_operations import LEARNING as OPERATIONS
from api.web.case_requests import book, query

__all__ = ["OPERATIONS", "blueprint"]

blueprint = Blueprint("learning", __name__)


@blueprint.get("/v1/learning")
@role("read")
def learning() -> Response:
    """Say whether closed cases shift the shares of causes, and what they have shifted."""
    query(())
    cases = book()
    return listing.respond(report(cases.database, cases.knowledge, bool(current().settings.learn)))
