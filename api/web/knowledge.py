"""``/v1/causes``, ``checks``, ``circuits`` and ``rules``: what the answers rest on.

With it ``/v1/groups`` and ``/v1/causes/{id}/separators``: what cannot be told apart, and what can.
"""

from collections.abc import Mapping
from typing import Any, Protocol

from flask import Blueprint, Response

from api.curation.facts import shown_machines
from api.curation.predictions import of_cause
from api.service import Service, current
from api.web import knowledge_schemas as schemas
from api.web import replies
from api.web.operations import Operation, operation
from engine import Diagnoser
from engine.audit import Survey
from engine.audit.groups import groups
from engine.knowledge import items
from engine.physics.machine import Machine

TAG = "knowledge"
blueprint = Blueprint(TAG, __name__)


class _Item(Protocol):
    """A cause, check, circuit or rule."""

    def as_dict(self) -> Mapping[str, Any]: ...


@blueprint.get("/v1/causes")
@operation(Operation(TAG, schemas.CausesListSchema, query=schemas.CausesQuery))
def list_causes(**asked: str) -> Response:
    """List what can be wrong on the machine that the query describes."""
    return _list("causes", current().knowledge.causes, asked)


@blueprint.get("/v1/causes/<id_>")
@operation(Operation(TAG, schemas.CauseSchema))
def get_cause(id_: str) -> Response:
    """Return one cause."""
    return _one("cause", current().knowledge.causes, id_)


@blueprint.get("/v1/checks")
@operation(Operation(TAG, schemas.ChecksListSchema, query=schemas.ChecksQuery))
def list_checks(**asked: str) -> Response:
    """List what can be asked, looked at, tried or measured on the machine of the query."""
    return _list("checks", current().knowledge.checks, asked)


@blueprint.get("/v1/checks/<id_>")
@operation(Operation(TAG, schemas.CheckSchema))
def get_check(id_: str) -> Response:
    """Return one check."""
    return _one("check", current().knowledge.checks, id_)


@blueprint.get("/v1/circuits")
@operation(Operation(TAG, schemas.CircuitsListSchema, query=schemas.CircuitsQuery))
def list_circuits(**asked: str) -> Response:
    """List the circuits that are solved, one a duty and control type."""
    return _list("circuits", current().knowledge.circuits, asked)


@blueprint.get("/v1/circuits/<id_>")
@operation(Operation(TAG, schemas.CircuitSchema))
def get_circuit(id_: str) -> Response:
    """Return one circuit."""
    return _one("circuit", current().knowledge.circuits, id_)


@blueprint.get("/v1/rules")
@operation(Operation(TAG, schemas.RulesListSchema, query=schemas.RulesQuery))
def list_rules(**asked: str) -> Response:
    """List the if-then knowledge, of one family when the query names it."""
    return _list("rules", current().knowledge.rules, asked)


@blueprint.get("/v1/rules/<id_>")
@operation(Operation(TAG, schemas.RuleSchema))
def get_rule(id_: str) -> Response:
    """Return one rule."""
    return _one("rule", current().knowledge.rules, id_)


def _list(plural: str, found: Mapping[str, _Item], asked: Mapping[str, str]) -> Response:
    chosen = [item.as_dict() for item in found.values() if _fits(item, asked)]
    return replies.kept(
        {"knowledge_version": current().knowledge.version, "count": len(chosen), plural: chosen}
    )


def _fits(item: Any, asked: Mapping[str, str]) -> bool:
    """Return whether an item's own fields are as asked, and the other ones leave room for it."""
    machine = {name: value for name, value in asked.items() if not hasattr(item, name)}
    own = all(getattr(item, name) == asked[name] for name in asked if name not in machine)
    return own and (not machine or any(one.holds(machine) for one in item.applies))


def _one(kind: str, found: Mapping[str, _Item], wanted: str) -> Response:
    if wanted not in found:
        raise replies.missing(kind, wanted, found)
    return replies.kept(found[wanted].as_dict())


def survey_of(service: Service) -> Survey:
    """Return the service's survey; its tables are worked out as they are asked for, and kept."""
    if "survey" not in service.cache:
        engine = service.engine
        diagnoser = engine if isinstance(engine, Diagnoser) else Diagnoser(service.knowledge)
        service.cache["survey"] = Survey(diagnoser)
    survey: Survey = service.cache["survey"]
    return survey


@blueprint.get("/v1/groups")
@operation(Operation(TAG, schemas.GroupsListSchema, query=schemas.GroupsQuery))
def list_groups(**asked: str) -> Response:
    """List causes that no check, or no question by phone, tells apart; at 12 V unless it says 24.

    The query describes the circuits that are looked at.
    """
    survey, machines = survey_of(current()), _machines(asked)
    found = [
        one
        for level in schemas.LEVELS
        if asked.get("level", level) == level
        for one in groups(survey, level, machines)
    ]
    about = {"knowledge_version": survey.knowledge.version, "count": len(found), "groups": found}
    return replies.kept(schemas.GroupsListSchema().dump(about))


def _machines(asked: Mapping[str, str]) -> list[Machine]:
    knowledge = current().knowledge
    own = {name: asked[name] for name in ("duty", "control") if name in asked}
    circuits = [name for name, circuit in knowledge.circuits.items() if _fits(circuit, own)]
    if not circuits:
        return []
    coils = (asked["coil"],) if "coil" in asked else ()
    volts = int(asked.get("system_volts", items.SYSTEM_VOLTS[0]))
    return shown_machines(knowledge, circuits, coils, volts)


@blueprint.get("/v1/causes/<id_>/separators")
@operation(Operation(TAG, schemas.SeparatorsSchema, query=schemas.MachineQuery))
def get_separators(id_: str, **asked: str) -> Response:
    """Return what shows a cause, and what tells it from the causes that it is taken for."""
    survey = survey_of(current())
    if id_ not in survey.knowledge.causes:
        raise replies.missing("cause", id_, survey.knowledge.causes)
    circuits = of_cause(survey, id_, _machines(asked))
    about = {"knowledge_version": survey.knowledge.version, "cause": id_, "circuits": circuits}
    return replies.kept(schemas.SeparatorsSchema().dump(about))
