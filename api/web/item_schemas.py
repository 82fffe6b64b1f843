"""The items of the knowledge base, as the lists give them: for /openapi.json.

Their schemas are those that read the files (engine.knowledge.items).
"""

from typing import Any

from marshmallow import Schema, fields, validate

from api.web import separation_schemas, sums_schemas
from api.web.schemas import text, whole
from engine.knowledge import items
from engine.knowledge.shapes import schema_of

CauseSchema: type[Schema] = schema_of(items.Cause)
CheckSchema: type[Schema] = schema_of(items.Check)
CircuitSchema: type[Schema] = schema_of(items.Circuit)
RuleSchema: type[Schema] = schema_of(items.Rule)


def listed(plural: str, schema: type[Schema]) -> type[Schema]:
    """Return the schema of a list of items as the service gives it."""
    members: dict[str, Any] = {
        "knowledge_version": text("Version of the knowledge base."),
        "count": whole("How many there are in this list."),
        plural: fields.List(
            fields.Nested(schema),
            required=True,
            metadata={"description": "The items, in the order of the knowledge base."},
        ),
    }
    schema_list = Schema.from_dict(members, name=f"{plural.capitalize()}List")
    schema_list.__doc__ = f"A list of {plural}."
    return schema_list


class AliveSchema(Schema):
    """The process answers."""

    status = text("Always 'alive'.", validate=validate.Equal("alive"))


class ReadySchema(Schema):
    """The service can diagnose."""

    status = text("Always 'ready'.", validate=validate.Equal("ready"))
    knowledge_version = text("Version of the knowledge base.")
    causes = whole("How many causes are loaded.", least=1)
    checks = whole("How many checks are loaded.", least=1)
    circuits = whole("How many circuits are loaded.", least=1)
    rules = whole("How many rules are loaded.", least=1)


class ProblemKindSchema(Schema):
    """What a kind of problem means."""

    kind = text("Last part of the problem's type.")
    title = text("The kind in words.")
    status = whole("The HTTP status.", least=400)
    advice = text("What to do about it.")


# name in /openapi.json -> schema
COMPONENTS: dict[str, type[Schema]] = {
    "Cause": CauseSchema,
    "Check": CheckSchema,
    "Circuit": CircuitSchema,
    "Rule": RuleSchema,
    "CausesList": listed("causes", CauseSchema),
    "ChecksList": listed("checks", CheckSchema),
    "CircuitsList": listed("circuits", CircuitSchema),
    "RulesList": listed("rules", RuleSchema),
    "Alive": AliveSchema,
    "Ready": ReadySchema,
    "ProblemKind": ProblemKindSchema,
    **separation_schemas.COMPONENTS,
    **sums_schemas.COMPONENTS,
}
