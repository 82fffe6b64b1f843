"""What the service says of the bench sums, field by field: for /openapi.json."""

from typing import Any

from marshmallow import Schema, fields, validate

from api.web.schemas import each, flag, number, one, text, texts, whole
from engine.reasoning.request import says


def _scalar(description: str, **kwargs: Any) -> fields.Raw:
    """Return a field for a number or a word."""
    about: dict[str, Any] = {"description": description, "type": ["number", "string"]}
    return fields.Raw(metadata=about, **kwargs)


class SumFieldSchema(Schema):
    """A field that a sum takes."""

    name = text("Its name; the unit is in it or beside it.")
    what = text("What it means.")
    unit = text("Unit of its number; empty for a word.")
    required = flag("Whether it must always be given.")
    default = _scalar("What counts when it is left out.")
    low = fields.Float(metadata=says("Least that is taken."))
    high = fields.Float(metadata=says("Most that is taken."))
    one_of = fields.List(
        _scalar("One of them."), metadata=says("The words or numbers that are taken.")
    )
    or_word = fields.String(metadata=says("A word that is taken in place of a number."))


class SumSchema(Schema):
    """A bench sum and what it takes."""

    id = text("Its id.")
    title = text("What it is called.")
    tells = text("What it answers.")
    fields_ = each(SumFieldSchema, "The fields that it takes.", data_key="fields")
    example = fields.Dict(
        keys=fields.String(), required=True, metadata=says("Inputs that it answers.")
    )


class SumsListSchema(Schema):
    """The bench sums."""

    knowledge_version = text("Version of the knowledge base.")
    count = whole("How many there are in this list.")
    sums = each(SumSchema, "The sums.")


class SumResultSchema(Schema):
    """One figure that came out."""

    id = text("Its id.")
    name = text("What it is.")
    value = fields.Raw(
        required=True,
        allow_none=True,
        metadata={
            "description": "A number to six digits, a word, or null where there is none.",
            "type": ["number", "string"],
        },
    )
    unit = text("Its unit; empty for a word or a plain number.")


class AxisSchema(Schema):
    """An axis of a curve."""

    name = text("What runs along it.")
    unit = text("In which unit.")
    scale = text("How it is spread.", validate=validate.OneOf(["linear", "log"]))


class CurveLineSchema(Schema):
    """A line of a curve."""

    name = text("What it shows.")
    limit = flag("Whether it is a limit, not a course.")
    points = fields.List(
        fields.List(fields.Float(), validate=validate.Length(equal=2)),
        required=True,
        metadata=says("Points [x, y] in the units of the axes."),
    )


class CurveMarkSchema(Schema):
    """The point that was asked about."""

    name = text("What it is.")
    x = number("Its place along the x axis.")
    y = number("Its place along the y axis.")


class CurveSchema(Schema):
    """Lines over two axes."""

    x = one(AxisSchema, "The x axis.")
    y = one(AxisSchema, "The y axis.")
    lines = each(CurveLineSchema, "The lines.")
    marks = each(CurveMarkSchema, "Where the caller stands.")


class SumAnswerSchema(Schema):
    """What came out of a sum."""

    knowledge_version = text("Version of the knowledge base.")
    sum = text("Id of the sum.")
    title = text("What it is called.")
    inputs = fields.Dict(
        keys=fields.String(),
        required=True,
        metadata=says("The inputs as they counted, with what was left out filled in."),
    )
    says = text("The answer in a sentence or two.")
    results = each(SumResultSchema, "The figures.")
    formula = text("The formula.")
    source = text("Where the formula and its figures come from.")
    assumptions = texts("What the sum takes for granted.")
    cautions = texts("Dangers, and what to do about them.")
    curve = one(
        CurveSchema, "A curve, where it says more than a number; else null.", allow_none=True
    )
