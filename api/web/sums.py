"""``/v1/sums``: the bench sums, listed with their fields and worked; nothing is kept."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Blueprint, Response

from api.access import role
from api.answers.problems import ProblemError
from api.service import current
from api.sums import SUMS, compute, explain, listed, unknown_sum
from api.sums.entries import json_schema
from api.sums.model import Curve, Figure
from api.web import replies, requests
from api.web.operations import Operation, operation
from engine import RequestError
from engine.answer.answer import KNOWN

TAG = "knowledge"
blueprint = Blueprint("sums", __name__)
_INPUTS = {"anyOf": [json_schema(one.title, one.schema) for one in SUMS.values()]}
_PATH = {"id": {"type": "string", "enum": list(SUMS), "description": "Id of one of the sums."}}


@dataclass(frozen=True)
class SumField:
    """A field that a sum takes."""

    name: str
    what: str
    unit: str
    required: bool
    default: float | str | None = field(default=None, metadata=KNOWN)
    low: float | None = field(default=None, metadata=KNOWN)
    high: float | None = field(default=None, metadata=KNOWN)
    one_of: tuple[float | str, ...] | None = field(default=None, metadata=KNOWN)
    or_word: str | None = field(default=None, metadata=KNOWN)


@dataclass(frozen=True)
class SumEntry:
    """A bench sum and what it takes."""

    id: str
    title: str
    tells: str
    fields: tuple[SumField, ...]
    example: Mapping[str, Any]


@dataclass(frozen=True)
class SumsList:
    """The bench sums."""

    knowledge_version: str
    count: int
    sums: tuple[SumEntry, ...]


@dataclass(frozen=True)
class SumAnswer:
    """What came out of a sum."""

    knowledge_version: str
    sum: str
    title: str
    inputs: Mapping[str, Any]
    says: str
    results: tuple[Figure, ...]
    formula: str
    source: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    curve: Curve | None


@blueprint.get("/v1/sums")
@operation(Operation(TAG, SumsList))
def list_sums() -> Response:
    """List the bench sums with the fields that each takes."""
    return replies.kept(listed(current().knowledge))


@blueprint.get("/v1/sums/<id_>")
@operation(Operation(TAG, SumEntry))
def get_sum(id_: str) -> Response:
    """Return what one sum takes."""
    _require(id_)
    return replies.kept(explain(SUMS[id_]))


@blueprint.post("/v1/sums/<id_>")
@role("read")
@operation(Operation(TAG, SumAnswer, _INPUTS, path=_PATH))
def work_sum(id_: str) -> Response:
    """Work one of the bench sums."""
    _require(id_)
    try:
        return replies.fresh(compute(current().knowledge, id_, requests.json_body()))
    except RequestError as error:
        errors = [(fault.path, fault.message) for fault in error.faults]
        raise ProblemError(422, "The inputs of the sum do not fit.", errors) from None


def _require(name: str) -> None:
    """Raise ProblemError 404 with the nearest sum for one that does not exist."""
    if name not in SUMS:
        message = unknown_sum(name, list(SUMS))
        raise ProblemError(404, message, errors=[("id", message)])
