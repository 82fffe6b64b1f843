"""``/healthz``, ``/readyz`` and ``/problems``: is it alive, can it answer, what errors mean."""

import logging
from typing import Any

from flask import Blueprint, Response, g

from api.access import role
from api.answers import problems
from api.answers.problems import ProblemError
from api.logs import Line
from api.service import Service, current
from api.store.probe import Probe
from api.web import listing, negotiation
from api.web.operations import health_operation, problem_operation, ready_operation
from engine.knowledge.faults import unknown

blueprint = Blueprint("health", __name__)
_log = logging.getLogger("threewire.api")

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/healthz", "get"): health_operation(),
    ("/readyz", "get"): ready_operation(),
    ("/problems/{kind}", "get"): problem_operation(),
}


@blueprint.get("/healthz")
@role("public")
def healthz() -> Response:
    """Say that the process answers, whatever else is wrong."""
    negotiation.query({})
    return listing.respond({"status": "alive"})


@blueprint.get("/readyz")
@role("public")
def readyz() -> Response:
    """Say that the database answers and that every circuit of the knowledge base does."""
    negotiation.query({})
    service = current()
    _ask_store(service)
    if "ready" not in service.cache:
        _prove(service)
        service.cache["ready"] = True
    knowledge = service.knowledge
    counts = {kind: len(getattr(knowledge, kind)) for kind in _KINDS}
    return listing.respond({"status": "ready", "knowledge_version": knowledge.version} | counts)


STORE_SECONDS = 3.0


def _ask_store(service: Service) -> None:
    """Ask the database, in a thread of its own: one that hangs must not hang the probe.

    Raises ProblemError 503 when it does not answer in STORE_SECONDS. One question at a time is
    under way; later probes wait for the same answer.
    """
    if service.database is None:
        return
    probe: Probe = service.cache.setdefault("probe", Probe(service.database.ping))
    because = probe.ask(STORE_SECONDS)
    if because is not None:
        _log.warning(Line(event="store-away", request_id=g.get("request_id", ""), because=because))
        detail = f"{because[:1].upper()}{because[1:]}."
        raise ProblemError(503, detail, headers={"Retry-After": "5"})


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
@role("public")
def problem(kind: str) -> Response:
    """Say what a problem document's ``type`` means."""
    negotiation.query({})
    kinds = problems.kinds()
    if kind not in kinds:
        message = unknown("problem", kind, kinds)
        raise ProblemError(404, message, errors=[("kind", message)])
    return listing.respond(kinds[kind])
