"""``/v1/events``: what happened to all cases, for programs that keep up with them."""

from flask import Blueprint, Response

from api.access import role
from api.cases.events.outbox import EventPage
from api.web import case_replies, replies
from api.web.case_requests import TAG, book
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, Whole

blueprint = Blueprint("events", __name__)
case_replies.register(blueprint)


class EventsQuery(QuerySchema):
    """From where on, and how many."""

    after = Whole("Only what happened behind this event; 0 begins at the first.", 0, 999_999_999, 0)
    limit = Whole("Events on one page.", 1, 1000, 100)


@blueprint.get("/v1/events")
@role("read")
@operation(Operation(TAG, EventPage, query=EventsQuery, refusals=(503,)))
def list_events(after: int, limit: int) -> Response:
    """List what happened to all cases, oldest first."""
    return replies.kept(book().events(after, limit))
