"""What the service says about telling causes apart, field by field: for /openapi.json."""

from marshmallow import Schema, fields, validate

from api.web.schemas import each, number, text, texts, whole

_DECIBANS = "Weight of evidence that it is expected to give, in decibans; 10 is ten to one."


class DeclaredSchema(Schema):
    """A declared reason why some causes cannot be told apart."""

    id = text("Id of the row in the table of look-alikes.")
    reason = text("The reason.")


class GroupSchema(Schema):
    """Causes of which no two are told apart."""

    level = text(
        "By no check at all, or by no question asked by phone.",
        validate=validate.OneOf(["no-check", "phone"]),
    )
    circuit = text("Id of the circuit.")
    coils = texts("Coil styles for which it holds.")
    causes = texts("Ids of the causes.")
    told_apart_by = texts("Checks that tell them apart, the most useful first.")
    never = fields.List(
        fields.List(fields.String()),
        required=True,
        metadata={"description": "Pairs of them that no check tells apart."},
    )
    declared = each(DeclaredSchema, "The reasons declared for those pairs.")


class GroupsListSchema(Schema):
    """Groups of causes that are not told apart."""

    knowledge_version = text("Version of the knowledge base.")
    count = whole("How many groups there are in this list.")
    groups = each(GroupSchema, "The groups, by level and circuit, the largest first.")


class ShowsSchema(Schema):
    """A check that shows a cause."""

    check = text("Id of the check.")
    decibans = number(_DECIBANS)
    reads = text("What it gives under the cause.")
    healthy_reads = text("What it gives on a healthy circuit.")


class TellsSchema(Schema):
    """A check that tells a cause from a rival."""

    check = text("Id of the check.")
    decibans = number(_DECIBANS)
    reads = text("What it gives under the cause.")
    rival_reads = text("What it gives under the rival.")


class TakenForSchema(Schema):
    """A cause that another is taken for."""

    cause = text("Id of the rival.")
    told_apart = fields.Boolean(
        required=True, metadata={"description": "Whether some check tells the two apart."}
    )
    reason = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "Why none does, where that is declared."},
    )
    by = each(TellsSchema, "The checks that say most about the two.")


class OnCircuitSchema(Schema):
    """What shows a cause on one circuit."""

    circuit = text("Id of the circuit.")
    coils = texts("Coil styles for which it holds as it stands.")
    shows = each(ShowsSchema, "Checks that show it, the most telling first.")
    taken_for = each(TakenForSchema, "The causes that it is taken for, the most alike first.")


class SeparatorsSchema(Schema):
    """What shows a cause, and what tells it from those it is taken for."""

    knowledge_version = text("Version of the knowledge base.")
    cause = text("Id of the cause.")
    circuits = each(OnCircuitSchema, "By circuit and coil style.")


COMPONENTS: dict[str, type[Schema]] = {
    "GroupsList": GroupsListSchema,
    "Separators": SeparatorsSchema,
}
