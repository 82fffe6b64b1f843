"""``/v1/traces``: a recording of the pull in, findings out; nothing is kept."""

import io

from flask import Blueprint, Response, request
from marshmallow import fields, validate

from api.access import role
from api.answers.problems import ProblemError, pairs
from api.cases.bodies import TypedText
from api.recordings.document import READING, TraceAnswer, document, read_file
from api.service import current
from api.web import replies
from api.web.batch import BAD_BODY, Body, BodyError
from api.web.diagnoses import TAG
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, choice
from engine.reasoning.request import says
from engine.traces.trace import ROLES, TraceError

blueprint = Blueprint("traces", __name__)
CSV, WAV = "text/csv", "audio/wav"
MOST_BYTES = 64 * 1024 * 1024
TOO_MANY = "A recording is being read here; send it when that one is done."
RECORDING = {
    "type": "string",
    "description": "Rows of numbers with any usual separator, a moment a row; or a WAV sound.",
}


class TraceQuery(QuerySchema):
    """What the columns of a recording are."""

    channels = TypedText(
        "What the columns are, in their order, with commas between: time, '-' for one that is not "
        f"used, or one of {', '.join(ROLES)}; each may have *GAIN, +OFFSET and @HERTZ behind it. "
        "Without it the heading of the rows says.", 400,
    )  # fmt: skip
    rate = fields.Float(
        validate=validate.Range(min=50, max=1_000_000),
        metadata=says("Samples a second, where no column is the time."),
    )
    cranking = choice("word", ("true", "false"), "Whether the starter turned meanwhile.")


@blueprint.post("/v1/traces")
@role("read")
@operation(Operation(TAG, TraceAnswer, RECORDING, query=TraceQuery, sent=CSV, also_sent=(WAV,),
                     refusals=(429,)))  # fmt: skip
def read_trace(channels: str = "", rate: float | None = None, cranking: str = "") -> Response:
    """Read a recording of the pull: findings for a diagnosis, figures, and what it cannot tell.

    At most 64 MiB, read while it comes; nothing is kept. What is wrong with it is told with its row
    and column. One recording at a time is read in a process: another is told when to come again.
    """
    body = Body(MOST_BYTES)
    if not READING.acquire(blocking=False):
        raise ProblemError(429, TOO_MANY, headers={"Retry-After": "5"})
    try:
        name = "x.wav" if request.mimetype == WAV else "x.csv"
        trace = read_file(io.BufferedReader(body), name, channels, rate)
        return replies.fresh(document(current().knowledge, trace, cranking == "true"))
    except TraceError as error:
        raise ProblemError(422, "The recording cannot be read.", pairs(error.faults)) from None
    except BodyError:
        raise ProblemError(400, BAD_BODY) from None
    finally:
        READING.release()
