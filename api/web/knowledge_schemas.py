"""The items of the knowledge base as the lists give them, and what is told of causes alike.

The schemas of items are those that read the files (engine.knowledge.items).
"""

from typing import Any

from marshmallow import Schema, fields, post_dump, validate

from api.web.requests import QuerySchema, choice
from api.web.schemas import each, flag, maybe, text, texts, whole
from engine.audit.groups import Level
from engine.knowledge import items
from engine.knowledge.shapes import schema_of
from engine.reasoning.request import says

LEVELS: tuple[Level, ...] = ("no-check", "phone")


def _only(kind: str, known: tuple[Any, ...]) -> fields.String:
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


class ListSchema(Schema):
    """A list of items."""

    knowledge_version = text("Version of the knowledge base.")
    count = whole("How many there are in this list.")


_ITEMS = "The items, in the order of the knowledge base."


class CausesListSchema(ListSchema):
    """A list of causes."""

    causes = each(CauseSchema, _ITEMS)


class ChecksListSchema(ListSchema):
    """A list of checks."""

    checks = each(CheckSchema, _ITEMS)


class CircuitsListSchema(ListSchema):
    """A list of circuits."""

    circuits = each(CircuitSchema, _ITEMS)


class RulesListSchema(ListSchema):
    """A list of rules."""

    rules = each(RuleSchema, _ITEMS)


_DECIBANS = "Weight of evidence that it is expected to give, in decibans; 10 is ten to one."


class _Tenths(fields.Float):
    """A number to one decimal."""

    def _serialize(self, value: Any, *args: Any, **kwargs: Any) -> float:
        return round(float(value), 1)


class DeclaredSchema(Schema):
    """A declared reason why some causes cannot be told apart."""

    id = text("Id of the row in the table of look-alikes.")
    reason = text("The reason.")


class GroupSchema(Schema):
    """Causes of which no two are told apart."""

    level = text(
        "By no check at all, or by no question asked by phone.",
        validate=validate.OneOf(LEVELS),
    )
    circuit = text("Id of the circuit.")
    coils = texts("Coil styles for which it holds.")
    causes = texts("Ids of the causes.")
    told_apart_by = texts("Checks that tell them apart, the most useful first.")
    never = fields.List(
        fields.List(fields.String()),
        required=True,
        metadata=says("Pairs of them that no check tells apart."),
    )
    declared = each(DeclaredSchema, "The reasons declared for those pairs.")


class GroupsListSchema(Schema):
    """Groups of causes that are not told apart."""

    knowledge_version = text("Version of the knowledge base.")
    count = whole("How many groups there are in this list.")
    groups = each(GroupSchema, "The groups, by level and circuit, the largest first.")


class _ReadsSchema(Schema):
    check = text("Id of the check.")
    decibans = _Tenths(required=True, metadata=says(_DECIBANS))
    reads = text("What it gives under the cause.", attribute="mine")


class ShowsSchema(_ReadsSchema):
    """A check that shows a cause."""

    healthy_reads = text("What it gives on a healthy circuit.", attribute="other")


class TellsSchema(_ReadsSchema):
    """A check that tells a cause from a rival."""

    rival_reads = text("What it gives under the rival.", attribute="other")


class TakenForSchema(Schema):
    """A cause that another is taken for."""

    cause = text("Id of the rival.")
    told_apart = flag("Whether some check tells the two apart.")
    reason = maybe("Why none does, where that is declared.")
    by = each(TellsSchema, "The checks that say most about the two.")

    @post_dump
    def _null(self, data: dict[str, Any], **_: Any) -> dict[str, Any]:
        return data | {"reason": data["reason"] or None}


class OnCircuitSchema(Schema):
    """What shows a cause on one circuit."""

    circuit = text("Id of the circuit.")
    coils = texts("Coil styles for which it holds as it stands.")
    shows = each(ShowsSchema, "Checks that show it, the most telling first.", attribute="rows")
    taken_for = each(
        TakenForSchema, "The causes that it is taken for, the most alike first.", attribute="rivals"
    )


class SeparatorsSchema(Schema):
    """What shows a cause, and what tells it from those it is taken for."""

    knowledge_version = text("Version of the knowledge base.")
    cause = text("Id of the cause.")
    circuits = each(OnCircuitSchema, "By circuit and coil style.")
