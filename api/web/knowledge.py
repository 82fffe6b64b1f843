"""``/v1/causes``, ``checks``, ``circuits`` and ``rules``: what the answers rest on.

With it ``/v1/groups`` and ``/v1/causes/{id}/separators``: what cannot be told apart, and what can.
The schemas of items are those that read the files (engine.knowledge.items).
"""

from collections.abc import Mapping
from dataclasses import dataclass, make_dataclass
from typing import Annotated, Any, Protocol

from flask import Blueprint, Response
from marshmallow import Schema, fields

from api.curation.facts import shown_machines
from api.curation.predictions import OnCircuit, of_cause
from api.service import Service, current
from api.strict_json import Json
from api.web import replies
from api.web.operations import Operation, operation
from api.web.requests import QuerySchema, choice
from engine import Diagnoser
from engine.answer.documents import Document
from engine.audit.groups import AlikeGroup, Level, groups
from engine.audit.separation import Survey
from engine.knowledge import items
from engine.knowledge.shapes import schema_of
from engine.physics.machine import Machine

TAG = "knowledge"
blueprint = Blueprint(TAG, __name__)


LEVELS: tuple[Level, ...] = ("no-check", "phone")


def _only(kind: str, known: tuple[object, ...]) -> fields.String:
    return choice(kind, tuple(str(one) for one in known), f"Only what fits this {kind}.")


class CircuitsQuery(QuerySchema):
    """Filters of circuits."""

    duty = _only("duty", items.DUTIES)
    control = _only("control", items.CONTROLS)


class _CoilQuery(CircuitsQuery):
    coil = _only("coil", items.COILS)


class CausesQuery(_CoilQuery):
    """Filters of causes."""

    section = _only("section", items.SECTIONS)


class ChecksQuery(_CoilQuery):
    """Filters of checks."""

    kind = _only("kind", items.KINDS)


class RulesQuery(QuerySchema):
    """Filters of rules."""

    family = _only("family", items.FAMILIES)


class MachineQuery(_CoilQuery):
    """Filters by machine."""

    system_volts = _only("system_volts", items.SYSTEM_VOLTS)


class GroupsQuery(MachineQuery):
    """Filters of groups."""

    level = _only("level", LEVELS)


CauseSchema: type[Schema] = schema_of(items.Cause)
CheckSchema: type[Schema] = schema_of(items.Check)
CircuitSchema: type[Schema] = schema_of(items.Circuit)
RuleSchema: type[Schema] = schema_of(items.Rule)


def _listing(plural: str, schema: type[Schema]) -> type[Any]:
    """Return the document that a list of items is."""
    told = tuple[Annotated[Json, schema], ...]
    return make_dataclass(
        f"{plural.capitalize()}List",
        [("knowledge_version", str), ("count", int), (plural, told)],
        namespace={"__doc__": f"A list of {plural}."}, bases=(Document,), frozen=True,
    )  # fmt: skip


CausesList = _listing("causes", CauseSchema)
ChecksList = _listing("checks", CheckSchema)
CircuitsList = _listing("circuits", CircuitSchema)
RulesList = _listing("rules", RuleSchema)


@dataclass(frozen=True)
class GroupsList(Document):
    """Groups of causes that are not told apart, by level and circuit, the largest first."""

    knowledge_version: str
    count: int
    groups: tuple[AlikeGroup, ...]


@dataclass(frozen=True)
class Separators(Document):
    """What shows a cause, and what tells it from those it is taken for."""

    knowledge_version: str
    cause: str
    circuits: tuple[OnCircuit, ...]


class _Item(Protocol):
    """A cause, check, circuit or rule."""

    def as_dict(self) -> Mapping[str, Any]: ...


@blueprint.get("/v1/causes")
@operation(Operation(TAG, CausesList, query=CausesQuery))
def list_causes(**asked: str) -> Response:
    """List what can be wrong on the machine that the query describes."""
    return _list(CausesList, current().knowledge.causes, asked)


@blueprint.get("/v1/causes/<id_>")
@operation(Operation(TAG, CauseSchema))
def get_cause(id_: str) -> Response:
    """Return one cause."""
    return _one("cause", current().knowledge.causes, id_)


@blueprint.get("/v1/checks")
@operation(Operation(TAG, ChecksList, query=ChecksQuery))
def list_checks(**asked: str) -> Response:
    """List what can be asked, looked at, tried or measured on the machine of the query."""
    return _list(ChecksList, current().knowledge.checks, asked)


@blueprint.get("/v1/checks/<id_>")
@operation(Operation(TAG, CheckSchema))
def get_check(id_: str) -> Response:
    """Return one check."""
    return _one("check", current().knowledge.checks, id_)


@blueprint.get("/v1/circuits")
@operation(Operation(TAG, CircuitsList, query=CircuitsQuery))
def list_circuits(**asked: str) -> Response:
    """List the circuits that are solved, one a duty and control type."""
    return _list(CircuitsList, current().knowledge.circuits, asked)


@blueprint.get("/v1/circuits/<id_>")
@operation(Operation(TAG, CircuitSchema))
def get_circuit(id_: str) -> Response:
    """Return one circuit."""
    return _one("circuit", current().knowledge.circuits, id_)


@blueprint.get("/v1/rules")
@operation(Operation(TAG, RulesList, query=RulesQuery))
def list_rules(**asked: str) -> Response:
    """List the if-then knowledge, of one family when the query names it."""
    return _list(RulesList, current().knowledge.rules, asked)


@blueprint.get("/v1/rules/<id_>")
@operation(Operation(TAG, RuleSchema))
def get_rule(id_: str) -> Response:
    """Return one rule."""
    return _one("rule", current().knowledge.rules, id_)


def _list(kind: type[Any], found: Mapping[str, _Item], asked: Mapping[str, str]) -> Response:
    chosen = tuple(item.as_dict() for item in found.values() if _fits(item, asked))
    return replies.kept(kind(current().knowledge.version, len(chosen), chosen))


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
@operation(Operation(TAG, GroupsList, query=GroupsQuery))
def list_groups(**asked: str) -> Response:
    """List causes that no check, or no question by phone, tells apart; at 12 V unless it says 24.

    The query describes the circuits that are looked at.
    """
    survey, machines = survey_of(current()), _machines(asked)
    found = [
        one
        for level in LEVELS
        if asked.get("level", level) == level
        for one in groups(survey, level, machines)
    ]
    return replies.kept(GroupsList(survey.knowledge.version, len(found), tuple(found)))


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
@operation(Operation(TAG, Separators, query=MachineQuery))
def get_separators(id_: str, **asked: str) -> Response:
    """Return what shows a cause, and what tells it from the causes that it is taken for."""
    survey = survey_of(current())
    if id_ not in survey.knowledge.causes:
        raise replies.missing("cause", id_, survey.knowledge.causes)
    circuits = of_cause(survey, id_, _machines(asked))
    return replies.kept(Separators(survey.knowledge.version, id_, tuple(circuits)))
