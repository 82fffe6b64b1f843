"""``/v1/sums``: the bench sums, listed with their fields and worked; nothing is kept."""

from flask import Blueprint, Response

from api.access import role
from api.answers.problems import ProblemError, pairs
from api.service import current
from api.sums import SUMS, compute, listed
from api.sums.model import Sum, SumAnswer, SumsList
from api.web import replies, requests
from api.web.operations import Operation, operation
from engine import RequestError

TAG = "knowledge"
blueprint = Blueprint("sums", __name__)
_INPUTS = {"anyOf": [one.json_schema() for one in SUMS.values()]}
_PATH = {"id": {"type": "string", "enum": list(SUMS), "description": "Id of one of the sums."}}


@blueprint.get("/v1/sums")
@operation(Operation(TAG, SumsList))
def list_sums() -> Response:
    """List the bench sums with the fields that each takes."""
    return replies.kept(listed(current().knowledge))


@blueprint.get("/v1/sums/<id_>")
@operation(Operation(TAG, Sum))
def get_sum(id_: str) -> Response:
    """Return what one sum takes."""
    _require(id_)
    return replies.kept(SUMS[id_])


@blueprint.post("/v1/sums/<id_>")
@role("read")
@operation(Operation(TAG, SumAnswer, _INPUTS, path=_PATH))
def work_sum(id_: str) -> Response:
    """Work one of the bench sums."""
    _require(id_)
    try:
        return replies.fresh(compute(current().knowledge, id_, requests.json_body()))
    except RequestError as error:
        raise ProblemError(422, "The inputs of the sum do not fit.", pairs(error.faults)) from None


def _require(name: str) -> None:
    """Raise ProblemError 404 with the nearest sum for one that does not exist."""
    if name not in SUMS:
        raise replies.missing("sum", name, SUMS)
