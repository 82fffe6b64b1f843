"""Many cases at once: out as lines or as a table, and history in, a case a line."""

from collections.abc import Iterator
from itertools import chain, islice
from typing import Any

from flask import Blueprint, Response

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.answering import MAX_BYTES
from api.answers.batch import MEDIA_TYPE, at
from api.cases import Book
from api.cases.lists import Wanted
from api.cases.transfer import bring_in, exported, exported_rows
from api.store import StoreUnavailableError
from api.strict_json import JsonError, JsonObject
from api.web import case_http
from api.web.batch import flowing, streamed, take_place
from api.web.case_http import TAG, book
from api.web.cases import CaseFilters
from api.web.operations import Operation, operation
from engine import RequestError

blueprint = Blueprint("transfers", __name__)
case_http.register(blueprint)
CSV = "text/csv"
LINES = {"type": "string", "description": "One case a line, as 'threewire db export' writes it."}
WAIT = "The store does not answer; send the same lines again later: none is kept twice."


def _leaving(mimetype: str) -> Operation:
    return Operation(TAG, query=CaseFilters, mimetype=mimetype, refusals=(429, 503))


@blueprint.get("/v1/cases/export.ndjson")
@role("read")
@operation(_leaving(MEDIA_TYPE))
def export_cases(**asked: Any) -> Response:
    """Give every case that the filters let through, oldest first: one a line, with its steps.

    It is read while it is sent, in pages: a case that is opened meanwhile is left out. Where the
    store goes away it breaks off, and the body has no end.
    """
    cases, wanted = book(), Wanted(**asked)
    found = exported(cases.database, cases.knowledge, wanted)
    return _sent((strict_json.dumps(one.to_dict()) for one in found), MEDIA_TYPE)


@blueprint.get("/v1/cases/export.csv")
@role("read")
@operation(_leaving(CSV))
def export_table(**asked: Any) -> Response:
    """Give the same cases as a table: a row a case, with its findings, without its steps.

    A cell that a spreadsheet would take for a formula has an apostrophe in front.
    """
    cases, wanted = book(), Wanted(**asked)
    return _sent(exported_rows(cases.database, cases.knowledge, wanted), CSV)


def _sent(lines: Iterator[str], mimetype: str) -> Response:
    """Return lines as a response that is sent while they are made, in the place of a batch.

    Raises ProblemError 429, StoreUnavailableError when there is none at the first of them.
    """
    done = take_place()
    try:
        first = list(islice(lines, 2))  # behind the names of a table is the first of the store
    except BaseException:
        done()
        raise
    response = flowing(chain(first, lines), mimetype, done)
    end = mimetype.rpartition("/")[2].removeprefix("x-")
    response.headers["Content-Disposition"] = f'attachment; filename="cases.{end}"'
    return response


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
