"""``/v1/hearings``: a caller's words in, what they may mean out; nothing is kept or taken."""

from flask import Blueprint, Response
from marshmallow import fields

from api.access import role
from api.answers.problems import ProblemError, pairs
from api.cases.bodies import TypedText, load
from api.cases.texts import LIMITS
from api.interview.hearing import HearingAnswer, hear
from api.service import current
from api.web import replies, requests
from api.web.diagnoses import TAG
from api.web.operations import Operation, operation
from engine import RequestError
from engine.knowledge.items import DUTIES
from engine.knowledge.shapes import OneOf, StrictSchema
from engine.reasoning.request import says

blueprint = Blueprint("hearings", __name__)


class HearingRequestSchema(StrictSchema):
    """What a caller said, and the duty where it is known."""

    what = "a hearing"
    text = TypedText("What the caller said, as typed.", *LIMITS["complaint"], required=True)
    duty = fields.String(
        validate=OneOf("duty", DUTIES),
        metadata=says("What the solenoid does; left out, words are heard for every duty."),
    )


@blueprint.post("/v1/hearings")
@role("read")
@operation(Operation(TAG, HearingAnswer, HearingRequestSchema))
def hear_caller() -> Response:
    """Say what a caller's words may mean: findings, complaint, causes, checks, cautions first.

    Each with the words it came from, in characters of the text as sent. Nothing is kept, and
    nothing is a finding before a person confirms it.
    """
    try:
        asked = load(HearingRequestSchema(), requests.json_body())
    except RequestError as error:
        raise ProblemError(422, "The words cannot be heard.", pairs(error.faults)) from None
    return replies.fresh(hear(current().knowledge, asked["text"], asked.get("duty")))
