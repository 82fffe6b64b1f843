"""``/v1/cases``: open a case, add what is found, read the diagnosis, take it along, close it.

With them what happened to all cases, and what closed ones have taught. The form of a work order is
in its address (``.json``, ``.csv``, ``.html``), so that a link names it.
"""

from typing import Any

from flask import Blueprint, Response

from api.access import role
from api.answers.problems import ProblemError
from api.cases import StaleCase, bodies, lists
from api.cases.bodies import TypedText
from api.cases.case import Case, CasePage, CaseSteps, ShownDiagnosis
from api.cases.events.outbox import EventPage
from api.cases.learning import Learning, report
from api.cases.work_order import WorkOrder, csv_text, html_text, stylesheet
from api.service import current
from api.web import case_http, replies, requests
from api.web.case_http import TAG, book, case_reply, expected, once, reading, said, send, writing
from api.web.operations import JsonSchema, Operation, operation
from api.web.replies import PRIVATE
from api.web.requests import QuerySchema, Whole, choice
from engine import RequestError

blueprint = Blueprint("cases", __name__)
case_http.register(blueprint)
CSV, HTML, JPEG = "text/csv", "text/html", "image/jpeg"


class CaseFilters(QuerySchema):
    """Which cases are wanted."""

    state = choice("state", lists.STATES, "Only open or only closed cases.")
    fleet_number = TypedText("Only this machine; the whole number as it was written.", 40)
    reference = TypedText("Only this job of the shop; the whole reference as it was written.", 80)
    text = TypedText(
        "Words that all stand in the case, in any case of letters: number, fleet number, type, "
        "reference, complaint, who has it, who opened it.",
        lists.TEXT,
    )


class CaseListQuery(CaseFilters):
    """Which cases are listed, and how many on a page."""

    cursor = TypedText("next_cursor of the page before, with the same filters.", 200)
    limit = Whole("Cases on one page.", 1, lists.MOST, lists.DEFAULT)


class StepsQuery(QuerySchema):
    """Which steps of a case are given."""

    since = Whole("Only the steps after this version.", 0, 999_999_999, 0)


class EventsQuery(QuerySchema):
    """From where on, and how many."""

    after = Whole("Only what happened behind this event; 0 begins at the first.", 0, 999_999_999, 0)
    limit = Whole("Events on one page.", 1, 1000, 100)


_SENT_FINDINGS: JsonSchema = {"anyOf": [bodies.FindingSentSchema, bodies.FindingListSentSchema]}


@blueprint.post("/v1/cases")
@role("agent")
@operation(writing(bodies.CaseOpeningSchema, "IdempotencyKey", status=201, opens=True))
def open_case() -> Response:
    """Open a case."""
    cases, (sent, by) = book(), said()
    return once(lambda also: cases.open(sent, by, also), 201)


@blueprint.get("/v1/cases")
@role("read")
@operation(reading(CasePage, query=CaseListQuery))
def list_cases(**asked: Any) -> Response:
    """List cases, newest first."""
    try:
        page = book().list(**asked)
    except RequestError as error:
        faults = {fault.path: fault.message for fault in error.faults}
        raise requests.bad_query(faults) from None
    return replies.kept(page, PRIVATE)


@blueprint.get("/v1/cases/<id_>")
@role("read")
@operation(reading(Case, "IfMatch", refusals=(412,)))
def get_case(id_: str) -> Response:
    """Return one case."""
    seen, found = expected(id_), book().get(id_)
    if seen not in (None, found.version):
        raise StaleCase(found, book().steps(id_, seen or 0))
    return send(case_reply(found))


@blueprint.patch("/v1/cases/<id_>")
@role("agent")
@operation(writing(bodies.CaseChangesSchema, "IfMatchNeeded"))
def change_case(id_: str) -> Response:
    """Merge changes into a case."""
    cases, (sent, by) = book(), said()
    return send(case_reply(cases.change(id_, sent, by, expected(id_, required=True))))


@blueprint.post("/v1/cases/<id_>/findings")
@role("agent")
@operation(writing(_SENT_FINDINGS, "IfMatch", "IdempotencyKey", status=201))
def add_findings(id_: str) -> Response:
    """Add one finding, or several in one step."""
    cases, (sent, by), seen = book(), said(), expected(id_)
    several = "findings" in sent
    if several:
        bodies.load(bodies.FindingListSentSchema(exclude=("by",)), sent)
    found = sent["findings"] if several else [sent]
    try:
        return once(lambda also: cases.add_findings(id_, found, by, seen, also), 201)
    except RequestError as error:
        raise error if several else _of_one(error) from None


def _of_one(error: RequestError) -> RequestError:
    """Return the faults with paths into the one finding that was the whole body."""
    return RequestError(
        type(fault)(fault.path.removeprefix("findings[0]").removeprefix("."), fault.message)
        for fault in error.faults
    )


@blueprint.post("/v1/cases/<id_>/findings/<place>/withdraw")
@role("agent")
@operation(writing(bodies.WithBecauseSchema, "IfMatch", "IdempotencyKey"))
def withdraw_finding(id_: str, place: str) -> Response:
    """Withdraw one finding; it stays in the case and counts no more."""
    if not (place.isascii() and place.isdecimal() and len(place) < 10):
        raise ProblemError(404, "A finding's place is a whole number: 1, 2, 3.")
    cases, (sent, by), seen = book(), said(), expected(id_)
    because = _because(sent)
    return once(lambda also: cases.withdraw(id_, int(place), by, because, seen, also))


def _because(sent: object) -> str:
    return str(bodies.load(bodies.WithBecauseSchema(exclude=("by",)), sent).get("because", ""))


@blueprint.post("/v1/cases/<id_>/reopen")
@role("agent")
@operation(writing(bodies.WithBecauseSchema, "IfMatch", "IdempotencyKey"))
def reopen_case(id_: str) -> Response:
    """Open a closed case again."""
    cases, (sent, by), seen = book(), said(), expected(id_)
    because = _because(sent)
    return once(lambda also: cases.reopen(id_, because, by, seen, also))


@blueprint.post("/v1/cases/<id_>/close")
@role("agent")
@operation(writing(bodies.CaseClosingSchema, "IfMatchNeeded", "IdempotencyKey"))
def close_case(id_: str) -> Response:
    """Close a case with what it was."""
    cases, (sent, by), seen = book(), said(), expected(id_, required=True)
    return once(lambda also: cases.close(id_, sent, by, seen, also))


@blueprint.get("/v1/cases/<id_>/diagnosis")
@role("read")
@operation(reading(ShownDiagnosis))
def get_case_diagnosis(id_: str) -> Response:
    """Return the engine's whole answer on the case as it stands."""
    found = book().diagnosis(id_)
    tag = f"{found['version']}.{found.get('knowledge_version', '')}"
    return replies.kept(found, PRIVATE, tag)


@blueprint.get("/v1/cases/<id_>/photos/<photo>")
@role("read")
@operation(reading(None, mimetype=JPEG))
def get_case_photo(id_: str, photo: str) -> Response:
    """Return a photo of what was found, small and bare of where it was taken."""
    return replies.tagged(book().photo(id_, photo), JPEG, cache=PRIVATE, tag=photo)


@blueprint.get("/v1/cases/<id_>/steps")
@role("read")
@operation(reading(CaseSteps, query=StepsQuery))
def get_case_steps(id_: str, since: int) -> Response:
    """Return what was done to the case, step by step."""
    return replies.kept(CaseSteps(tuple(book().steps(id_, since))), PRIVATE)


@blueprint.get("/v1/cases/<id_>/work-order.json")
@role("read")
@operation(reading(WorkOrder))
def get_work_order(id_: str) -> Response:
    """Return the work order as JSON."""
    return replies.kept(book().work_order(id_), PRIVATE)


@blueprint.get("/v1/cases/<id_>/work-order.csv")
@role("read")
@operation(reading(None, mimetype=CSV))
def get_work_order_row(id_: str) -> Response:
    """Return the work order as one row of a table."""
    response = replies.tagged(csv_text(book().work_order(id_)), CSV, cache=PRIVATE)
    name = f"case-{''.join(one for one in id_ if one.isascii() and one.isdigit())}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@blueprint.get("/v1/cases/<id_>/work-order.html")
@role("read")
@operation(reading(None, mimetype=HTML))
def get_work_order_page(id_: str) -> Response:
    """Return the work order as a page that prints."""
    page, policy = html_text(book().work_order(id_)), replies.policy(stylesheet())
    return replies.tagged(page, HTML, policy, PRIVATE)


@blueprint.get("/v1/events")
@role("read")
@operation(Operation(TAG, EventPage, query=EventsQuery, refusals=(503,)))
def list_events(after: int, limit: int) -> Response:
    """List what happened to all cases, oldest first."""
    return replies.kept(book().events(after, limit))


@blueprint.get("/v1/learning")
@role("read")
@operation(reading(Learning))
def get_learning() -> Response:
    """Say what closed cases have taught this installation, and whether diagnoses use it."""
    cases = book()
    return replies.kept(report(cases.database, cases.knowledge, current().settings.learn))


@blueprint.post("/v1/learning")
@role("admin")
@operation(Operation(TAG, Learning, bodies.LearningReviewSchema, refusals=(503,)))
def review_learning() -> Response:
    """Say whether closed cases are learned from: one case, or all that one key closed."""
    cases, sent = book(), requests.json_body()
    cases.review(**bodies.load(bodies.LearningReviewSchema(), sent))
    return replies.kept(report(cases.database, cases.knowledge, current().settings.learn))
