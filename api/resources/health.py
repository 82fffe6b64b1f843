"""``/healthz``, ``/readyz`` and ``/problems``: is it alive, can it answer, what errors mean."""

from typing import Any

from flask import Blueprint, Response

from api import problems
from api.problems import ProblemError
from api.resources import listing, negotiation
from api.resources.operations import health_operation, problem_operation, ready_operation
from api.service import Service, current
from engine.knowledge.faults import unknown

blueprint = Blueprint("health", __name__)

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/healthz", "get"): health_operation(),
    ("/readyz", "get"): ready_operation(),
    ("/problems/{kind}", "get"): problem_operation(),
}


@blueprint.get("/healthz")
def healthz() -> Response:
    """Say that the process answers, whatever else is wrong."""
    negotiation.query({})
    return listing.respond({"status": "alive"})


@blueprint.get("/readyz")
def readyz() -> Response:
    """Say that the knowledge base is loaded and that every circuit in it gives an answer."""
    negotiation.query({})
    service = current()
    if "ready" not in service.cache:
        _prove(service)
        service.cache["ready"] = True
    knowledge = service.knowledge
    counts = {kind: len(getattr(knowledge, kind)) for kind in _KINDS}
    return listing.respond({"status": "ready", "knowledge_version": knowledge.version} | counts)


_KINDS = ("causes", "checks", "circuits", "rules")


def _prove(service: Service) -> None:
    """Diagnose an empty case on every circuit. Raises ProblemError 503 when one gives no answer."""
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


@blueprint.get("/problems/<kind>")
def problem(kind: str) -> Response:
    """Say what a problem document's ``type`` means."""
    negotiation.query({})
    kinds = problems.kinds()
    if kind not in kinds:
        message = unknown("problem", kind, kinds)
        raise ProblemError(404, message, errors=[("kind", message)])
    return listing.respond(kinds[kind])
