"""``/v1/cases/import``: history in, a case a line, while lines come."""

from flask import Blueprint, Response

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.answering import MAX_BYTES
from api.answers.batch.lines import MEDIA_TYPE, at
from api.cases import Book
from api.cases.transfer import bring_in
from api.store import StoreUnavailableError
from api.strict_json import JsonError, JsonObject
from api.web.batch import streamed
from api.web.case_requests import TAG, book
from api.web.operations import Operation, operation
from engine import RequestError

blueprint = Blueprint("imports", __name__)
LINES = {"type": "string", "description": "One case a line, as 'threewire db export' writes it."}
WAIT = "The store does not answer; send the same lines again later: none is kept twice."


@blueprint.post("/v1/cases/import")
@role("admin")
@operation(Operation(TAG, body=LINES, mimetype=MEDIA_TYPE, sent=MEDIA_TYPE, refusals=(429, 503)))
def import_cases() -> Response:
    """Bring in cases from elsewhere: one a line in, one line out for each, in the same order.

    A line is answered with its number as ``line``, the number of the ``case`` and ``brought_in``,
    which is false where the case is there already: sent again, or after it broke off, nothing comes
    twice. A bad line is answered in its place with a problem document. Times and names are
    kept; nothing is learned from these cases until they are reviewed.
    """
    cases = book()
    return streamed(lambda number, raw: strict_json.dumps(at(number, brought(cases, raw))))


def brought(cases: Book, raw: bytes) -> JsonObject:
    """Bring in the case of one line and say what became of it, or the problem with it."""
    if len(raw) > MAX_BYTES:
        return problems.document(413)
    try:
        sent = strict_json.loads(raw)
        case = bring_in(cases, sent if isinstance(sent, dict) else {})
    except JsonError as fault:
        return problems.json_document(fault)
    except RequestError as error:
        return problems.faults_document(error.faults, "kept")
    except StoreUnavailableError:
        return problems.document(503, WAIT)
    except Exception as error:
        problems.log_surprise(error)
        return problems.document(500)
    return {"brought_in": case is not None, "case": case.shown_number if case else None}
