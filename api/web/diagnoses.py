"""``/v1/diagnoses``: facts in, diagnosis out; nothing is kept."""

from dataclasses import dataclass

from flask import Blueprint, Response

from api.access import role
from api.answers import problems
from api.answers.answering import answer_request
from api.cases.bodies import TypedText
from api.cases.learning import LearningDiagnoser
from api.service import current
from api.strict_json import Json
from api.web import replies, requests
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, choice
from engine.answer.answer import Answer
from engine.answer.documents import keys
from engine.knowledge.faults import unknown
from engine.reasoning.request import RequestSchema

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
