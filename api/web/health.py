"""About the service itself: does it live, can it answer, its numbers, errors and operations."""

from dataclasses import dataclass
from typing import Literal

from flask import Blueprint, Response, current_app

from api.access import role
from api.answers import problems
from api.answers.problems import ProblemError, ProblemKind
from api.service import Service, current
from api.store import StoreUnavailableError
from api.web import openapi, replies
from api.web.operations import Operation, operation
from engine.answer.documents import Document

TAG = "service"
TEXT = "text/plain"
blueprint = Blueprint(TAG, __name__)


@dataclass(frozen=True)
class Alive(Document):
    """The process answers."""

    status: Literal["alive"] = "alive"


@dataclass(frozen=True)
class Ready(Document):
    """The service can diagnose."""

    status: Literal["ready"]
    knowledge_version: str
    causes: int
    checks: int
    circuits: int
    rules: int


@blueprint.get("/healthz")
@role("public")
@operation(Operation(TAG, Alive))
def alive() -> Response:
    """Say that the process answers, whatever else is wrong."""
    return replies.kept(Alive())


@blueprint.get("/readyz")
@role("public")
@operation(Operation(TAG, Ready, refusals=(503,)))
def ready() -> Response:
    """Say that the database answers and that every circuit of the knowledge base does."""
    service = current()
    because = service.store_fault()
    if because is not None:
        raise StoreUnavailableError(because)
    prove(service)
    knowledge = service.knowledge
    counts = (len(getattr(knowledge, kind)) for kind in _KINDS)
    return replies.kept(Ready("ready", knowledge.version, *counts))


_KINDS = ("causes", "checks", "circuits", "rules")


def prove(service: Service) -> None:
    """Diagnose an empty case on every circuit, once. Raises ProblemError 503 when one gives no
    answer."""
    if "ready" in service.cache:
        return
    empty = [kind for kind in _KINDS if not getattr(service.knowledge, kind)]
    if empty:
        raise ProblemError(503, f"The knowledge base has no {', no '.join(empty)}.")
    for circuit in service.knowledge.circuits.values():
        machine = {"duty": circuit.duty, "control": circuit.control, "coil": "unknown"}
        try:
            service.engine.diagnose({"machine": machine, "findings": []})
        except Exception as error:
            problems.log_surprise(error)
            raise ProblemError(503, f"The circuit '{circuit.id}' gives no answer.") from error
    service.cache["ready"] = True


@blueprint.get("/problems/<kind>")
@role("public")
@operation(Operation(TAG, ProblemKind))
def problem(kind: str) -> Response:
    """Say what a problem document's ``type`` means."""
    kinds = problems.kinds()
    if kind not in kinds:
        raise replies.missing("problem", kind, kinds, "kind")
    return replies.kept(kinds[kind])


@blueprint.get("/metrics")
@role("read")
@operation(Operation(TAG, mimetype=TEXT, negotiated=False))
def metrics() -> Response:
    """Give the numbers of all workers of this server, in Prometheus' text format.

    It needs a key with the role ``read``: a scraper should hold one of its own that can do no more.
    """
    from api.web import prometheus  # after the server has said where the counts of workers are

    response = current_app.response_class(prometheus.page(current()))
    response.headers["Content-Type"] = f"{TEXT}; version=0.0.4; charset=utf-8"
    return response


@blueprint.get("/openapi.json")
@role("public")
@operation(Operation(TAG, {"type": "object", "description": "OpenAPI 3.1."}))
def describe() -> Response:
    """Return this document; it is built at the first call, its examples worked on the spot."""
    service = current()
    if "openapi" not in service.cache:
        service.cache["openapi"] = openapi.build(service, current_app)
    return replies.kept(service.cache["openapi"])
