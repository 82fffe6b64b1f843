"""``/v1/diagnoses/batch``: one request a line in, one answer a line out, while lines come."""

import sys
from collections.abc import Callable, Iterator
from itertools import islice

from flask import Blueprint, Response, current_app, request, stream_with_context

from api import strict_json
from api.access import role
from api.answers import problems
from api.answers.batch.lines import MEDIA_TYPE, answer_line, at, split
from api.service import Service, current
from api.web.diagnoses import TAG
from api.web.operations import Operation, operation

blueprint = Blueprint("batch", __name__)
# The server fills a block before it hands it over, so what is less than one waits for more.
BLOCK = 1024
LINES = {"type": "string", "description": "One request a line, as /v1/diagnoses takes it."}


@blueprint.post("/v1/diagnoses/batch")
@role("read")
@operation(Operation(TAG, body=LINES, mimetype=MEDIA_TYPE, sent=MEDIA_TYPE))
def diagnose_batch() -> Response:
    """Diagnose many machines: one request a line in, one answer a line out, in the same order.

    Answers come while lines are still being sent: read them meanwhile. Nothing is kept. A bad line
    is answered in its place with a problem document that has its number as ``line``.
    """
    request.max_content_length = sys.maxsize  # lines are bounded in length and number instead
    read = _whole(request.stream.read, request.content_length)
    texts = stream_with_context(_answers(current(), read))
    response = current_app.response_class(texts, mimetype=MEDIA_TYPE)
    response.headers["X-Accel-Buffering"] = "no"  # a proxy in front passes each line on at once
    return response


def _answers(service: Service, read: Callable[[int], bytes]) -> Iterator[str]:
    """Yield the answers. A caller that stalls is the server's to end (slow_clients)."""
    limit = service.settings.batch_lines
    number = 0
    lines = split(read, BLOCK)
    try:
        for number, raw in enumerate(islice(lines, limit), start=1):
            yield answer_line(service.engine, number, raw, problems.log_surprise)[1]
        if next(lines, None) is not None:
            yield _problem(413, f"More than {limit} lines; the rest is not read.", limit + 1)
    except _BodyError:
        detail = "The body ended before it was complete, came too slowly, or is badly framed."
        yield _problem(400, detail, number + 1)


class _BodyError(Exception):
    """The body cannot be read to its end: the caller has gone, or sends it wrongly."""


def _whole(read: Callable[[int], bytes], length: int | None) -> Callable[[int], bytes]:
    """Return ``read``, raising _BodyError for a body that is broken, or shorter than announced.

    The server raises one thing or another for the first, and nothing for the second.
    """
    left = length or 0

    def reading(size: int) -> bytes:
        nonlocal left
        try:
            piece = read(size)
        except Exception as error:
            raise _BodyError from error
        left -= len(piece)
        if not piece and left > 0:
            raise _BodyError
        return piece

    return reading


def _problem(status: int, detail: str, number: int) -> str:
    return strict_json.dumps(at(number, problems.document(status, detail)))
