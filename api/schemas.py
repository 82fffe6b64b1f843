"""What the engine answers, field by field: for /openapi.json, and for the tests that hold it.

The engine checks requests itself (engine.request); these schemas describe the way out. An answer
may gain fields; none of these is renamed or dropped.
"""

from typing import Any

from marshmallow import Schema, fields, validate

from engine.knowledge import items


def text(description: str, **kwargs: Any) -> fields.String:  # noqa: ANN401 - handed on to marshmallow
    """Return a field for prose or an id that is always there."""
    return fields.String(required=True, metadata={"description": description}, **kwargs)


def number(description: str, **kwargs: Any) -> fields.Float:  # noqa: ANN401 - handed on to marshmallow
    """Return a field for a number that is always there; the description names its unit."""
    return fields.Float(required=True, metadata={"description": description}, **kwargs)


def whole(description: str, least: int = 0) -> fields.Integer:
    """Return a field for a whole number from ``least`` up."""
    return fields.Integer(
        required=True,
        strict=True,
        validate=validate.Range(min=least),
        metadata={"description": description},
    )


def texts(description: str) -> fields.List[Any]:
    """Return a field for a list of texts."""
    return fields.List(fields.String(), required=True, metadata={"description": description})


def each(schema: type[Schema], description: str, **kwargs: Any) -> fields.List[Any]:  # noqa: ANN401 - handed on to marshmallow
    """Return a field for a list of objects."""
    kwargs.setdefault("required", True)
    return fields.List(fields.Nested(schema), metadata={"description": description}, **kwargs)


def positions(description: str) -> fields.List[Any]:
    """Return a field for places in the request's list of findings, counted from 0."""
    place = fields.Integer(strict=True, validate=validate.Range(min=0))
    return fields.List(place, required=True, metadata={"description": description})


class EvidenceSchema(Schema):
    """What one finding says about one cause."""

    finding = whole("Place of the finding in the request's list, counted from 0.")
    check = text("Id of the check that was done.")
    direction = text(
        "Whether the finding speaks for this cause or against it.",
        validate=validate.OneOf(["for", "against"]),
    )
    weight_db = number(
        "Weight of evidence in decibans: ten times the decimal logarithm of what this finding "
        "does to the odds of the cause, given all the others. Negative speaks against it."
    )
    observed = text("What was found, with its unit.")
    expected_if_cause = text("What the check would give if this cause were the true one.")
    expected_if_healthy = text("What the check would give on a circuit without a fault.")
    because = text("Why the finding points this way, in a sentence.")
    basis = text(
        "Where the expectation comes from.",
        validate=validate.Regexp(r"^(circuit|table|rule:[a-z0-9-]+)$"),
    )


class LookBehindSchema(Schema):
    """What may have made the cause."""

    cause = text("Id of the cause behind the cause.")
    because = text("Why it has to be looked at before the part is fitted.")


class CauseInAnswerSchema(Schema):
    """One cause with its probability and its reasons."""

    id = text("Id of the cause, or 'healthy' or 'outside'.")
    name = text("Name of the cause, as a technician would say it.")
    probability = number(
        "Belief in the cause after all findings that count, from 0 to 1. Over all causes, "
        "'healthy' and 'outside' it sums to 1.",
        validate=validate.Range(min=0, max=1),
    )
    group = whole("Causes that the findings so far do not separate share this number.", least=1)
    evidence = each(EvidenceSchema, "What each finding says about this cause.")
    remedy = text("What to do about it.")
    proof_of_repair = text("The reading or behaviour that proves the repair.")
    look_behind = each(LookBehindSchema, "What may have made this cause.")
    cautions = texts("Dangers of doing the remedy, and what to do about them.")


class SetAsideSchema(Schema):
    """A finding that counts for nothing."""

    finding = whole("Place of the finding in the request's list, counted from 0.")
    rule = text("Id of the rule that set it aside.")
    because = text("Why it cannot mean what it seems to mean.")
    instead = text("What to do instead.")


class ProofSchema(Schema):
    """What the findings prove good."""

    rule = text("Id of the rule that says so.")
    says = text("What is proved good.")
    from_ = fields.List(
        fields.Integer(strict=True, validate=validate.Range(min=0)),
        required=True,
        data_key="from",
        metadata={"description": "Places of the findings that prove it, counted from 0."},
    )
    clears = texts("Ids of the causes that are proved absent.")


class PairSchema(Schema):
    """Two causes that together explain what one alone does not."""

    causes = texts("Ids of the two causes.")
    probability = number(
        "Belief in the pair among the pairs tried, from 0 to 1.",
        validate=validate.Range(min=0, max=1),
    )


class FitSchema(Schema):
    """How well the best explanation predicts what was found."""

    verdict = text(
        "'good', 'strained', or 'poor': no single cause predicts the findings.",
        validate=validate.OneOf(["good", "strained", "poor"]),
    )
    disagreeing = positions("Places of the findings that disagree most, counted from 0.")
    pairs = each(PairSchema, "Pairs of causes that fit better, when one cause fits badly.",
                 required=False)  # fmt: skip


class ExpectSchema(Schema):
    """What a check would read under one cause."""

    cause = text("Id of the cause, or 'healthy'.")
    reads = text("What the check would read or show, with its unit.")


class NextCheckSchema(Schema):
    """A check that is worth doing next."""

    check = text("Id of the check.")
    how = text("How to do it on this machine.")
    kind = text("Kind of check.", validate=validate.OneOf(list(items.KINDS)))
    minutes = number("Minutes that it takes.")
    saves_minutes = number("Minutes that it is expected to save on the way to the confirmed fix.")
    expect = each(ExpectSchema, "What it would read under each likely cause.")
    cautions = texts("Dangers of this step, and what to do about them.")


class CautionSchema(Schema):
    """A danger, and what to do about it."""

    id = text("Id of the rule that says so.")
    text = text("The danger, why it is there, and what to do.")


class ScopeSchema(Schema):
    """Whether the machine has such a circuit at all."""

    covered = fields.Boolean(
        required=True, metadata={"description": "False when this machine has no such circuit."}
    )
    because = fields.String(
        required=True, allow_none=True, metadata={"description": "Why not, when not covered."}
    )


class AnswerSchema(Schema):
    """A diagnosis: ranked causes with their evidence, and what to do next."""

    knowledge_version = text("Version of the knowledge base that gave this answer.")
    causes = each(CauseInAnswerSchema, "Most probable first, at most as many as 'limit' asks.")
    set_aside = each(SetAsideSchema, "Findings that count for nothing, and why.")
    proofs = each(ProofSchema, "What the findings prove good.")
    fit = fields.Nested(
        FitSchema, required=True, metadata={"description": "How well the best cause fits."}
    )
    next_checks = each(NextCheckSchema, "What to check next, best first.")
    advice = fields.String(
        metadata={"description": "Why no check is offered, when next_checks is empty."}
    )
    cautions = each(CautionSchema, "Dangers of the whole job.")
    scope = fields.Nested(
        ScopeSchema, required=True, metadata={"description": "Whether this machine is covered."}
    )


class ErrorSchema(Schema):
    """One thing wrong with a request."""

    path = text("Where it stands, such as 'findings[2].unit'; empty for the whole body.")
    message = text("What is wrong, with the nearest right word where there is one.")


class ProblemSchema(Schema):
    """Problem details as in RFC 9457."""

    type = text("Kind of problem, a reference that can be fetched.")
    title = text("The kind in words.")
    status = fields.Integer(
        required=True, strict=True, metadata={"description": "The HTTP status, repeated."}
    )
    detail = text("What is wrong with this request.")
    errors = each(ErrorSchema, "Every fault found, with its place.")
    request_id = text("The id to quote; also in the X-Request-Id header.")
