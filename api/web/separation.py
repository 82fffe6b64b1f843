"""``/v1/groups`` and ``/v1/causes/{id}/separators``: what cannot be told apart, and what can."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from api.answers.problems import ProblemError
from api.curation.facts import shown_machines
from api.curation.predictions import OnCircuit, Rival, of_cause
from api.service import current
from api.web import listing, negotiation
from api.web.operations import knowledge_operation
from api.web.surveying import survey_of
from engine.audit.groups import Group, Level, groups
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.physics.machine import Machine

blueprint = Blueprint("separation", __name__)

LEVELS: tuple[Level, ...] = ("no-check", "phone")
MACHINE = listing.MACHINE_FILTERS | {"system_volts": tuple(str(v) for v in items.SYSTEM_VOLTS)}
FILTERS = MACHINE | {"level": LEVELS}

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/v1/groups", "get"): knowledge_operation(
        "listGroups", "Causes that no check, or no question by phone, tells apart.",
        "GroupsList", FILTERS,
    ),
    ("/v1/causes/{id}/separators", "get"): knowledge_operation(
        "getSeparators", "What shows a cause, and what tells it from those it is taken for.",
        "Separators", MACHINE, one="causes",
    ),
}  # fmt: skip


@blueprint.get("/v1/groups")
def list_groups() -> Response:
    """List the groups on the circuits that the query describes; 12 V unless it says 24."""
    query = negotiation.query(FILTERS)
    survey = survey_of(current())
    machines = _machines(query)
    found = [
        _group(one)
        for level in LEVELS
        if query.get("level", level) == level
        for one in groups(survey, level, machines)
    ]
    return listing.respond(
        {"knowledge_version": survey.knowledge.version, "count": len(found), "groups": found}
    )


def _machines(query: Mapping[str, str]) -> list[Machine]:
    knowledge = current().knowledge
    circuits = [
        name
        for name, circuit in knowledge.circuits.items()
        if all(getattr(circuit, key) == query.get(key, getattr(circuit, key))
               for key in ("duty", "control"))
    ]  # fmt: skip
    if not circuits:
        return []
    coils = (query["coil"],) if "coil" in query else ()
    volts = int(query.get("system_volts", items.SYSTEM_VOLTS[0]))
    return shown_machines(knowledge, circuits, coils, volts)


def _group(group: Group) -> dict[str, Any]:
    return {
        "level": group.level,
        "circuit": group.circuit,
        "coils": list(dict.fromkeys(one.coil for one in group.machines)),
        "causes": list(group.causes),
        "told_apart_by": list(group.told_apart_by),
        "never": [list(pair) for pair in group.never],
        "declared": [{"id": row.id, "reason": row.reason} for row in group.declared],
    }


@blueprint.get("/v1/causes/<id_>/separators")
def get_separators(id_: str) -> Response:
    """Return, by circuit, what shows a cause and what tells it from the causes it is taken for."""
    query = negotiation.query(MACHINE)
    survey = survey_of(current())
    if id_ not in survey.knowledge.causes:
        message = unknown("cause", id_, survey.knowledge.causes)
        raise ProblemError(404, message[:1].upper() + message[1:] + ".", errors=[("id", message)])
    found = of_cause(survey, id_, _machines(query))
    return listing.respond(
        {
            "knowledge_version": survey.knowledge.version,
            "cause": id_,
            "circuits": [_on_circuit(one) for one in found],
        }
    )


def _on_circuit(one: OnCircuit) -> dict[str, Any]:
    return {
        "circuit": one.circuit,
        "coils": list(one.coils),
        "shows": [
            {"check": row.check, "decibans": round(row.decibans, 1), "reads": row.mine,
             "healthy_reads": row.other}
            for row in one.rows
        ],
        "taken_for": [_rival(rival) for rival in one.rivals],
    }  # fmt: skip


def _rival(rival: Rival) -> dict[str, Any]:
    return {
        "cause": rival.cause,
        "told_apart": rival.told_apart,
        "reason": rival.reason or None,
        "by": [
            {"check": row.check, "decibans": round(row.decibans, 1), "reads": row.mine,
             "rival_reads": row.other}
            for row in rival.by
        ],
    }  # fmt: skip
