"""``/v1/causes``, ``checks``, ``circuits`` and ``rules``: what the answers rest on.

With it ``/v1/groups`` and ``/v1/causes/{id}/separators``: what cannot be told apart, and what can.
The schemas of items are those that read the files (engine.knowledge.items).
"""

from collections.abc import Mapping
from dataclasses import dataclass, make_dataclass
from typing import Annotated, Any

from flask import Blueprint, Response

from api.curation.facts import shelf, shown_machines
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


_KNOWN: Mapping[str, tuple[object, ...]] = {
    "duty": items.DUTIES, "control": items.CONTROLS, "coil": items.COILS,
    "system_volts": items.SYSTEM_VOLTS, "section": items.SECTIONS, "kind": items.KINDS,
    "family": items.FAMILIES, "level": LEVELS,
}  # fmt: skip


def _filters(*names: str) -> type[QuerySchema]:
    """Return a query that may ask for what fits one word of each of these closed sets."""
    words = {name: tuple(map(str, _KNOWN[name])) for name in names}
    return QuerySchema.from_dict({
        name: choice(name, known, f"Only what fits this {name}.") for name, known in words.items()
    }, name="Filters")  # type: ignore[return-value]  # fmt: skip


_CIRCUIT, _MACHINE = ("duty", "control"), ("duty", "control", "coil", "system_volts")


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


def _serve(plural: str, item: Any, query: type[QuerySchema], about: str) -> None:
    """Serve a list of items, those that the query lets through, and each of them by its id."""
    schema, singular = schema_of(item), plural[:-1]
    told = tuple[Annotated[Json, schema], ...]
    listing = make_dataclass(
        f"{plural.capitalize()}List",
        [("knowledge_version", str), ("count", int), (plural, told)],
        namespace={"__doc__": f"A list of {plural}."}, bases=(Document,), frozen=True,
    )  # fmt: skip

    def many(**asked: str) -> Response:
        knowledge = current().knowledge
        there = shelf(knowledge, plural).values()
        chosen = tuple(one.as_dict() for one in there if _fits(one, asked))
        return replies.kept(listing(knowledge.version, len(chosen), chosen))

    def one(id_: str) -> Response:
        there = shelf(current().knowledge, plural)
        if id_ not in there:
            raise replies.missing(singular, id_, there)
        return replies.kept(there[id_].as_dict())

    many.__name__, many.__doc__ = f"list_{plural}", about
    one.__name__, one.__doc__ = f"get_{singular}", f"Return one {singular}."
    blueprint.get(f"/v1/{plural}")(operation(Operation(TAG, listing, query=query))(many))
    blueprint.get(f"/v1/{plural}/<id_>")(operation(Operation(TAG, schema))(one))


def _fits(item: Any, asked: Mapping[str, str]) -> bool:
    """Return whether an item's own fields are as asked, and the other ones leave room for it."""
    machine = {name: value for name, value in asked.items() if not hasattr(item, name)}
    own = all(getattr(item, name) == asked[name] for name in asked if name not in machine)
    return own and (not machine or any(one.holds(machine) for one in item.applies))


_serve("causes", items.Cause, _filters(*_CIRCUIT, "coil", "section"),
       "List what can be wrong on the machine that the query describes.")  # fmt: skip
_serve(
    "checks", items.Check, _filters(*_CIRCUIT, "coil", "kind"),
    "List what can be asked, looked at, tried or measured on the machine of the query.",
)  # fmt: skip
_serve("circuits", items.Circuit, _filters(*_CIRCUIT),
       "List the circuits that are solved, one a duty and control type.")  # fmt: skip
_serve("rules", items.Rule, _filters("family"),
       "List the if-then knowledge, of one family when the query names it.")  # fmt: skip


def survey_of(service: Service) -> Survey:
    """Return the service's survey; its tables are worked out as they are asked for, and kept."""
    if "survey" not in service.cache:
        engine = service.engine
        diagnoser = engine if isinstance(engine, Diagnoser) else Diagnoser(service.knowledge)
        service.cache["survey"] = Survey(diagnoser)
    survey: Survey = service.cache["survey"]
    return survey


@blueprint.get("/v1/groups")
@operation(Operation(TAG, GroupsList, query=_filters(*_MACHINE, "level")))
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
@operation(Operation(TAG, Separators, query=_filters(*_MACHINE)))
def get_separators(id_: str, **asked: str) -> Response:
    """Return what shows a cause, and what tells it from the causes that it is taken for."""
    survey = survey_of(current())
    if id_ not in survey.knowledge.causes:
        raise replies.missing("cause", id_, survey.knowledge.causes)
    circuits = of_cause(survey, id_, _machines(asked))
    return replies.kept(Separators(survey.knowledge.version, id_, tuple(circuits)))
