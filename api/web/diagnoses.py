"""``/v1/diagnoses``: facts in, diagnosis out. ``/v1/hearings``: words in, what they may mean out.

Nothing is kept, and of words nothing is taken.
"""

from dataclasses import dataclass

from flask import Blueprint, Response
from marshmallow import fields

from api.access import role
from api.answers import problems
from api.answers.answering import answer_request
from api.answers.problems import ProblemError, pairs
from api.cases.bodies import TypedText, load
from api.cases.learning import LearningDiagnoser
from api.cases.texts import LIMITS
from api.interview.hearing import HearingAnswer, hear
from api.service import current
from api.strict_json import Json
from api.web import replies, requests
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, choice
from engine import RequestError
from engine.answer.answer import Answer
from engine.answer.documents import keys
from engine.knowledge.faults import unknown
from engine.knowledge.items import DUTIES
from engine.knowledge.shapes import OneOf, StrictSchema
from engine.reasoning.request import RequestSchema, says

TAG = "diagnosis"
blueprint = Blueprint(TAG, __name__)


class DiagnosisQuery(QuerySchema):
    """With which shares of causes it is diagnosed."""

    learned = choice(
        "word", ("true", "false"), "'false' leaves out what this installation's cases have taught."
    )
    fields_ = TypedText(
        "Only these fields of the answer, with commas between; all when left out.",
        200, data_key="fields",
    )  # fmt: skip


@dataclass(frozen=True)
class SlimAnswer(Answer):
    """Of an answer the fields that 'fields' asked for."""


@blueprint.post("/v1/diagnoses")
@role("read")
@operation(Operation(TAG, Answer | SlimAnswer, RequestSchema, query=DiagnosisQuery))
def diagnose(learned: str = "true", fields_: str = "") -> Response:
    """Diagnose one machine from what was found on it.

    Nothing is kept. The same request gives the same answer, byte for byte, at the same knowledge
    and learning version; both are named in 'knowledge_version'.
    """
    engine = current().engine
    if learned == "false" and isinstance(engine, LearningDiagnoser):
        engine = engine.shipped
    status, document = answer_request(engine, requests.json_body())
    if status != 200:
        return problems.respond(document)
    return replies.fresh(_only(document, fields_) if fields_ else document)


def _only(document: Json, asked: str) -> Json:
    """Return the fields of an answer that are asked for. Raises ProblemError 422 for others."""
    wanted = asked.split(",")
    known = [key.name for key in keys(Answer)]
    strange = next((one for one in wanted if one not in known), None)
    if strange is not None:
        raise requests.bad_query({"fields": unknown("field", strange, known)})
    return {name: value for name, value in document.items() if name in wanted}


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
