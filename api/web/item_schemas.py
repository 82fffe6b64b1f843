"""The items of the knowledge base, as the lists give them: for /openapi.json.

The shape is checked where the files are read (engine.knowledge.shapes); what stands inside states,
trees, conditions and actions is described for people in DEVELOPERS.md.
"""

from typing import Any

from marshmallow import Schema, fields, validate

from api.web import separation_schemas, sums_schemas
from api.web.schemas import number, text, texts, whole
from engine.knowledge import items


def anything(description: str, **kwargs: Any) -> fields.Dict:
    """Return a field for an object that is described elsewhere."""
    return fields.Dict(keys=fields.String(), metadata={"description": description}, **kwargs)


def anythings(description: str, **kwargs: Any) -> fields.List[Any]:
    """Return a field for a list of such objects."""
    return fields.List(
        fields.Dict(keys=fields.String()), metadata={"description": description}, **kwargs
    )


_APPLIES = "Where it applies: lists by machine field; empty is everywhere."
_APPLIES_ANY = "Where it applies, in place of 'applies': any one of these holds."
_SOURCE = "Where the numbers come from."
_HAZARDS = "Dangers of doing it; the cautions hang on them."


class CauseSchema(Schema):
    """Something that can be wrong."""

    id = text("Its id.")
    name = text("What a technician would say.")
    section = text("Part of the circuit.", validate=validate.OneOf(list(items.SECTIONS)))
    applies = anything(_APPLIES)
    applies_any = anythings(_APPLIES_ANY)
    share = number("Relative frequency among calls.")
    minutes = number("Minutes to put it right.")
    source = text(_SOURCE)
    states = anythings("In which degrees it occurs and what each changes.", required=True)
    looks_like = text("How it shows itself, and what it is mistaken for.")
    remedy = text("What to do about it.")
    proof_of_repair = text("What proves the repair.")
    confirmed_by = texts("Ids of the checks that confirm it.")
    hazards = texts(_HAZARDS)


class CheckSchema(Schema):
    """Something that can be asked, looked at, tried or measured."""

    id = text("Its id.")
    name = text("What it is called.")
    kind = text("Kind of check.", validate=validate.OneOf(list(items.KINDS)))
    applies = anything(_APPLIES)
    applies_any = anythings(_APPLIES_ANY)
    shared_between_sides = fields.Boolean(
        required=True, metadata={"description": "True when it concerns both brake solenoids."}
    )
    minutes = number("Minutes that it takes.")
    setup = text("Position or kit that several checks share.")
    result = anything("The unit and range of a reading, or the outcomes.", required=True)
    predicted_by = anything("How the engine predicts it.", required=True)
    repeatability = anything("Standard uncertainty of doing it again, in the same unit.")
    instrument = fields.String(metadata={"description": "Id of the instrument."})
    slip = anything("Share of answers that are simply wrong.")
    outcome_words = anything("Each outcome in a caller's words.")
    say = text("The sentence to read to a caller.")
    how = text("How to do it; words in braces are filled in for each machine.")
    why = text("What it settles.")
    hazards = texts(_HAZARDS)
    commanded = fields.Boolean(metadata={"description": "True when the pull must be commanded."})
    source = text(_SOURCE)


class CircuitSchema(Schema):
    """The circuit of one duty and control type."""

    id = text("Its id.")
    name = text("What it is called.")
    duty = text("What the solenoid does.", validate=validate.OneOf(list(items.DUTIES)))
    control = text("How it is commanded.", validate=validate.OneOf(list(items.CONTROLS)))

    class Meta:
        """The rest (parts, phases, settings) is as DEVELOPERS.md has it."""

        unknown = "include"


class BecauseSchema(Schema):
    """The three parts of every message."""

    found = text("What was found.")
    points = text("Why it points there.")
    next = text("What to do next.")


class RuleSchema(Schema):
    """One piece of if-then knowledge."""

    id = text("Its id.")
    family = text("What it is for.", validate=validate.OneOf(list(items.FAMILIES)))
    title = text("What it holds, in a sentence.")
    when = anythings("Conditions; all must hold.", required=True)
    then = anythings("What follows.", required=True)
    because = fields.Nested(
        BecauseSchema, required=True, metadata={"description": "What is said when it fires."}
    )
    source = text(_SOURCE)


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
