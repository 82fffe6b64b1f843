"""Many at once: diagnoses, one request a line in, one answer a line out; cases out, history in.

Lines are answered while more of them come, a table is sent while it is made; each takes a place,
of which a process has as many as leave a thread to others.
"""

import io
import sys
import threading
from collections.abc import Callable, Iterator
from itertools import chain, islice
from typing import Any

from flask import Blueprint, Response, current_app, request, stream_with_context

from api import strict_json
from api.access import LOCAL, caller, role
from api.access.authorization import wait_for_turn
from api.answers import problems
from api.answers.answering import MAX_BYTES
from api.answers.batch import MEDIA_TYPE, answer_line, at, split
from api.answers.problems import ProblemError
from api.cases import Book
from api.cases.lists import Wanted
from api.cases.transfer import bring_in, exported, exported_rows
from api.service import current
from api.store import StoreUnavailableError
from api.strict_json import JsonError, JsonObject
from api.web import case_http
from api.web.case_http import TAG as CASES
from api.web.case_http import book
from api.web.cases import CSV, CaseFilters
from api.web.diagnoses import TAG
from api.web.operations import Operation, operation
from engine import RequestError

blueprint = Blueprint("batch", __name__)
case_http.register(blueprint)
# The server fills a block before it hands it over, so what is less than one waits for more.
BLOCK = 1024
TOO_MANY = "A batch of this key, or as many as fit, is under way; send it when one has ended."
Answering = Callable[[int, bytes], str]  # a line's number, from 1, and its bytes
LINES = {"type": "string", "description": "One request a line, as /v1/diagnoses takes it."}
CASE_LINES = {
    "type": "string", "description": "One case a line, as 'threewire db export' writes it."
}  # fmt: skip
BAD_BODY = "The body ended before it was complete, came too slowly, or is badly framed."
WAIT = "The store does not answer; send the same lines again later: none is kept twice."


@blueprint.post("/v1/diagnoses/batch")
@role("read")
@operation(Operation(TAG, body=LINES, mimetype=MEDIA_TYPE, sent=MEDIA_TYPE, refusals=(429,)))
def diagnose_batch() -> Response:
    """Diagnose many machines: one request a line in, one answer a line out, in the same order.

    Answers come while lines are still being sent: read them meanwhile. Nothing is kept. A bad line
    is answered in its place with a problem document that has its number as ``line``. Each line
    counts in the rate of the key: where that is used up, answers come as fast as it allows.
    """
    engine = current().engine
    return streamed(lambda number, raw: answer_line(engine, number, raw, problems.log_surprise)[1])


def _leaving(mimetype: str) -> Operation:
    return Operation(CASES, query=CaseFilters, mimetype=mimetype, refusals=(429, 503))


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
@operation(
    Operation(CASES, body=CASE_LINES, mimetype=MEDIA_TYPE, sent=MEDIA_TYPE, refusals=(429, 503))
)
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


def streamed(answer: Answering) -> Response:
    """Return the response to a body of lines: what ``answer`` says to each, while lines come.

    Raises ProblemError 429 where batches of this key, or as many as fit, are under way.
    """
    body = Body()
    done = take_place()
    texts = stream_with_context(_answers(answer, current().settings.batch_lines, body, done))
    return flowing(texts, MEDIA_TYPE, done)


def take_place() -> Callable[[], None]:
    """Take one of the places of batches, and return what gives it back.

    Raises ProblemError 429 where batches of this key, or as many as fit, are under way.
    """
    service = current()
    most = service.settings.threads - 1  # a thread is left to others, where there are two
    places: Places = service.cache.setdefault("batches", Places(most))
    done = places.take(caller().id)
    if done is None:
        raise ProblemError(429, TOO_MANY, headers={"Retry-After": "10"})
    return done


def flowing(texts: Iterator[str], mimetype: str, done: Callable[[], None]) -> Response:
    """Return a response that is sent while it is made; ``done`` is called at its end."""
    response = current_app.response_class(texts, mimetype=mimetype)
    response.call_on_close(done)
    response.headers["X-Accel-Buffering"] = "no"  # a proxy in front passes each line on at once
    return response


def _answers(
    answer: Answering, limit: int, body: "Body", done: Callable[[], None]
) -> Iterator[str]:
    """Yield the answers. A caller that stalls is the server's to end (slow_clients)."""
    number = 0
    lines = split(lambda size: body.read(size) or b"", BLOCK)
    try:
        for number, raw in enumerate(islice(lines, limit), start=1):
            if number > 1:  # the first is the request, which is counted
                wait_for_turn()
            yield answer(number, raw)
        if next(lines, None) is not None:
            fault = problems.document(413, f"More than {limit} lines; the rest is not read.")
            yield strict_json.dumps(at(limit + 1, fault))
    except BodyError:
        fault = problems.document(400, BAD_BODY)
        yield strict_json.dumps(at(number + 1, fault))
    finally:
        done()


class Places:
    """Which batches are under way in this process: ``most`` (or one), and one a key."""

    def __init__(self, most: int) -> None:
        self._most = max(1, most)
        self._taken: dict[object, str] = {}
        self._lock = threading.Lock()

    def take(self, key: str) -> Callable[[], None] | None:
        """Return what ends a batch of this key, however often it is called; None for no place."""
        place = object()
        with self._lock:
            full = len(self._taken) >= self._most
            if full or (key != LOCAL.id and key in self._taken.values()):
                return None
            self._taken[place] = key

        def done() -> None:
            self._taken.pop(place, None)

        return done


class BodyError(Exception):
    """The body cannot be read to its end: the caller has gone, or sends it wrongly."""


class Body(io.RawIOBase):
    """The body of the request that is being handled, as it comes, ``most`` bytes of it.

    Reading raises ProblemError 413 beyond these, and BodyError for a body that is broken or shorter
    than announced: the server raises one thing or another for the first, nothing for the second.
    """

    def __init__(self, most: int = sys.maxsize) -> None:
        request.max_content_length = sys.maxsize  # bounded here, or in lines
        self._stream, self._most, self._came = request.stream, most, 0
        self._announced = request.content_length or 0

    def readable(self) -> bool:
        """Return that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Take out what is there; 0 at the end."""
        try:
            piece = self._stream.read(len(buffer))
        except Exception as error:
            raise BodyError from error
        self._came += len(piece)
        if self._came > self._most:
            raise ProblemError(413, f"Send at most {self._most // 2**20} MiB.")
        if not piece and self._came < self._announced:
            raise BodyError
        buffer[: len(piece)] = piece
        return len(piece)
