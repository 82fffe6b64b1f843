"""About the service itself: does it live, can it answer, its numbers, errors and operations."""

import logging

from flask import Blueprint, Response, current_app, g

from api.access import described, role
from api.answers import problems
from api.answers.problems import ProblemError
from api.logs import Line
from api.service import Service, current
from api.store.probe import Probe
from api.web import openapi, replies, schemas
from api.web.operations import Operation, operation

TAG = "service"
TEXT = "text/plain"
blueprint = Blueprint(TAG, __name__)
_log = logging.getLogger("threewire.api")


@blueprint.get("/healthz")
@role("public")
@operation(Operation(TAG, schemas.AliveSchema))
def alive() -> Response:
    """Say that the process answers, whatever else is wrong."""
    return replies.kept({"status": "alive"})


@blueprint.get("/readyz")
@role("public")
@operation(Operation(TAG, schemas.ReadySchema, refusals=(503,)))
def ready() -> Response:
    """Say that the database answers and that every circuit of the knowledge base does."""
    service = current()
    _ask_store(service)
    if "ready" not in service.cache:
        _prove(service)
        service.cache["ready"] = True
    knowledge = service.knowledge
    counts = {kind: len(getattr(knowledge, kind)) for kind in _KINDS}
    return replies.kept({"status": "ready", "knowledge_version": knowledge.version} | counts)


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
@operation(Operation(TAG, schemas.ProblemKindSchema))
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
@operation(Operation(TAG, schemas.DescriptionSchema))
def describe() -> Response:
    """Return this document; it is built at the first call, its examples worked on the spot."""
    service = current()
    if "openapi" not in service.cache:
        document = openapi.build(service, current_app)
        described.describe(document, current_app)
        service.cache["openapi"] = document
    return replies.kept(service.cache["openapi"])
