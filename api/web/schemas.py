"""What the engine answers, field by field: for /openapi.json, and for the tests that hold it.

The engine checks requests itself (reasoning.request); these describe the way out. An answer
may gain fields; none of these is renamed or dropped.
"""

from typing import Any

from marshmallow import Schema, fields, validate

from engine.knowledge import items
from engine.reasoning.request import says


def text(description: str, **kwargs: Any) -> fields.String:
    """Return a field for prose or an id that is always there."""
    return fields.String(required=True, metadata=says(description), **kwargs)


def number(description: str, **kwargs: Any) -> fields.Float:
    """Return a field for a number that is always there; the description names its unit."""
    return fields.Float(required=True, metadata=says(description), **kwargs)


def whole(description: str, least: int = 0) -> fields.Integer:
    """Return a field for a whole number from ``least`` up."""
    within = validate.Range(min=least)
    return fields.Integer(required=True, strict=True, validate=within, metadata=says(description))


def texts(description: str) -> fields.List[Any]:
    """Return a field for a list of texts."""
    return fields.List(fields.String(), required=True, metadata=says(description))


def each(schema: type[Schema], description: str, **kwargs: Any) -> fields.List[Any]:
    """Return a field for a list of objects."""
    kwargs.setdefault("required", True)
    return fields.List(fields.Nested(schema), metadata=says(description), **kwargs)


def positions(
    description: str, data_key: str | None = None, required: bool = True
) -> fields.List[Any]:
    """Return a field for places in the request's list of findings, counted from 0."""
    place = fields.Integer(strict=True, validate=validate.Range(min=0))
    return fields.List(place, required=required, data_key=data_key, metadata=says(description))


def one(schema: type[Schema], description: str, **kwargs: Any) -> fields.Nested:
    """Return a field for an object that is always there."""
    kwargs.setdefault("required", True)
    return fields.Nested(schema, metadata=says(description), **kwargs)


def flag(description: str, **kwargs: Any) -> fields.Boolean:
    """Return a field for yes or no that is always there."""
    return fields.Boolean(required=True, metadata=says(description), **kwargs)


def maybe(description: str) -> fields.String:
    """Return a field for a text that is always there, null where there is none."""
    return fields.String(required=True, allow_none=True, metadata=says(description))


class BandSchema(Schema):
    """Limits of what a check would read, as printed; null is no limit."""

    open = fields.Boolean(metadata={"description": "True: over range, and there are no limits."})
    low = fields.Float(allow_none=True, metadata={"description": "Least that it would read."})
    high = fields.Float(allow_none=True, metadata={"description": "Most that it would read."})
    unit = fields.String(metadata={"description": "Unit of the limits."})
    doubt = fields.String(
        validate=validate.OneOf(["meter", "machine"]),
        metadata={
            "description": "Why no reading inside can be called good: the meter is too coarse, or "
            "good machines of the kinds that it may be read far apart."
        },
    )


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
    verdict = fields.String(
        validate=validate.OneOf(list(items.VERDICTS)),
        metadata=says("A reading against the healthy circuit, its accuracy counted in."),
    )
    counted_share = fields.Float(
        validate=validate.Range(min=0, max=1),
        metadata=says("How much of the finding counts, when a rule weakened it."),
    )
    expected_if_cause_range = fields.Nested(
        BandSchema, metadata={"description": "The limits in expected_if_cause, as numbers."}
    )
    expected_if_healthy_range = fields.Nested(
        BandSchema,
        metadata={"description": "The limits in expected_if_healthy: what the verdict is by."},
    )
    value = fields.Float(metadata=says("The reading as it is weighed, in the unit of the ranges."))
    chance_if_cause = fields.Float(
        validate=validate.Range(0, 1),
        metadata=says("How often the cause gives the outcome that was found, from 0 to 1."),
    )
    chance_if_healthy = fields.Float(
        validate=validate.Range(0, 1),
        metadata=says("How often a circuit without a fault gives that outcome, from 0 to 1."),
    )


class LookBehindSchema(Schema):
    """What may have made the cause."""

    cause = text("Id of the cause behind the cause.")
    because = text("Why it has to be looked at before the part is fitted.")


class RankedCauseSchema(Schema):
    """One cause with its probability and its reasons."""

    id = text("Id of the cause, or 'healthy' or 'outside'.")
    name = text("Name of the cause, as a technician would say it.")
    probability = number(
        "Belief in the cause after all findings that count, from 0 to 1. Over all causes, "
        "'healthy' and 'outside' it sums to 1.",
        validate=validate.Range(min=0, max=1),
    )
    group = whole("Causes that the findings so far do not separate share this number.", least=1)
    section = text("Part of the circuit.")
    minutes = number("Minutes to put it right.")
    evidence = each(EvidenceSchema, "What each finding says about this cause, weightiest first.")
    looks_like = text("How it shows itself, and what it is mistaken for.")
    remedy = text("What to do about it.")
    proof_of_repair = text("The reading or behaviour that proves the repair.")
    look_behind = each(LookBehindSchema, "What may have made this cause.")
    before_replacing = texts("Ids of the checks to do before a part is fitted.")
    cautions = texts("Dangers of doing the remedy, and what to do about them.")


class SetAsideSchema(Schema):
    """A finding that counts for nothing."""

    finding = whole("Place of the finding in the request's list, counted from 0.")
    rule = text("Id of the rule that set it aside.")
    because = text("Why it cannot mean what it seems to mean.")
    instead = text("What to do instead.")


class WeakenedSchema(SetAsideSchema):
    """A finding that counts for less than it seems to."""

    keep = number("The share of it that counts, from 0 to 1.", validate=validate.Range(0, 1))


class SupersededSchema(Schema):
    """A finding from before something was put right that can have changed it."""

    finding = whole("Place of the finding in the request's list, counted from 0.")
    done = text("What was put right after it.")
    because = text("Why it no longer counts.")


class ProofSchema(Schema):
    """What the findings prove good."""

    rule = text("Id of the rule that says so.")
    says = text("What is proved good, and why.")
    next = text("What to do next.")
    from_ = positions("Places of the findings that prove it, counted from 0.", data_key="from")
    clears = texts("Ids of the causes that are proved absent.")


class NoteSchema(Schema):
    """What a rule has to say."""

    rule = text("Id of the rule.")
    found = text("What was found.")
    points = text("Why it points there.")
    next = text("What to do next.")


class PairSchema(Schema):
    """Two causes that together explain what one alone does not."""

    causes = texts("Ids of the two causes.")
    names = texts("Names of the two causes.")
    probability = number(
        "Belief in this pair, against all single causes and all other pairs, from 0 to 1.",
        validate=validate.Range(min=0, max=1),
    )
    needed_for = positions("Places of the findings that only the pair explains, counted from 0.")
    told_apart_by = maybe("Id of the check that tells the two apart best.")


class FitSchema(Schema):
    """How well the best explanation predicts what was found.

    The last three are there when the verdict is not 'good'.
    """

    verdict = text(
        "'good', 'strained', or 'poor': no single cause predicts the findings.",
        validate=validate.OneOf(["good", "strained", "poor"]),
    )
    disagreeing = positions("Places of the findings that disagree most, counted from 0.")
    two_faults_probability = fields.Float(
        validate=validate.Range(min=0, max=1),
        metadata=says("Belief that two faults are there at once, from 0 to 1."),
    )
    pairs = each(PairSchema, "Pairs of causes that fit better than one.", required=False)
    repeat = positions(
        "Places of the findings to take again before anything else, counted from 0.",
        required=False,
    )


class ExpectSchema(Schema):
    """What a check would read under one cause."""

    cause = text("Id of the cause, or 'healthy'.")
    reads = text("What the check would read or show, with its unit.")


class LeaderSchema(Schema):
    """A cause, if a check came out as it may."""

    cause = text("Id of the cause.")
    probability = number("Belief in it then, from 0 to 1.", validate=validate.Range(0, 1))


class MeaningSchema(Schema):
    """A result that a check may have, and what it would mean."""

    outcome = fields.String(metadata={"description": "Id of the outcome."})
    reads = fields.String(metadata={"description": "A stretch of readings, in words."})
    range = fields.Nested(BandSchema, metadata={"description": "The stretch as numbers."})
    chance = number("How likely this result is, from 0 to 1.", validate=validate.Range(0, 1))
    leaders = each(LeaderSchema, "The most probable causes if it came, the likeliest first.")


class NextCheckSchema(Schema):
    """A check that is worth doing next."""

    check = text("Id of the check.")
    name = text("Name of the check.")
    kind = text("Kind of check.", validate=validate.OneOf(list(items.KINDS)))
    minutes = number("Minutes that it takes.")
    say = text("The sentence to read to a caller.")
    how = text("How to do it on this machine.")
    why = text("What it settles.")
    saves_minutes = number(
        "Minutes by the clock that it is expected to save by itself on the way to the fix; 0 where "
        "it saves none. Never more than expected_minutes_if_repair_now."
    )
    saves_with_wrong_repairs = number(
        "The same for the whole plan, each repair that does not cure counted with what the table "
        "'effort' sets on one; 0 where a rule, and not the saving, puts it first."
    )
    reason = text("Why it is proposed, in one sentence.")
    expect = each(ExpectSchema, "What it would read under each likely cause.")
    meanings = each(MeaningSchema, "What each of its results would mean.")
    cautions = texts("Dangers of this step, and what to do about them.")


class AdviceSchema(Schema):
    """Whether to check on or to repair, and in which order."""

    do = text(
        "'check': do the first of next_checks. 'repair': the leader is confirmed, or no check at "
        "hand would change the order. 'hand-over': what is at hand is used up and nothing leads at "
        "half. 'refer': this machine is not covered.",
        validate=validate.OneOf(["check", "repair", "hand-over", "refer"]),
    )
    expected_minutes_if_repair_now = number("Minutes to the confirmed fix when repair starts now.")
    repair_order = texts("Ids of the likely causes in the best order of trying their repairs.")
    because = maybe("Why no check is offered, when none is.")


class CautionSchema(Schema):
    """A danger, and what to do about it."""

    id = text("Id of the rule that says so.")
    text = text("The danger and what to do about it.")


class ScopeSchema(Schema):
    """Whether the machine has such a circuit at all."""

    covered = flag("False when this machine has no such circuit.")
    because = maybe("Why not, when not covered.")


class FiredSchema(Schema):
    """A rule that fired, in the order in which rules fired."""

    rule = text("Id of the rule.")
    findings = positions("Places of the findings that it rests on, counted from 0.")
    facts = texts("Conclusions of other rules that it rests on.")
    concluded = texts("What it concluded for other rules.")


class SideAnswerSchema(Schema):
    """A diagnosis: ranked causes with their evidence, and what to do next."""

    knowledge_version = text("Version of the knowledge base that gave this answer.")
    causes = each(RankedCauseSchema, "Most probable first, at most as many as 'limit' asks.")
    set_aside = each(SetAsideSchema, "Findings that count for nothing, and why.")
    weakened = each(WeakenedSchema, "Findings that count for less than they seem to, and why.")
    superseded = each(SupersededSchema, "Findings that a later repair can have changed.")
    proofs = each(ProofSchema, "What the findings prove good.")
    notes = each(NoteSchema, "What rules have to say beside that.")
    fit = one(FitSchema, "How well the best cause fits.")
    next_checks = each(NextCheckSchema, "What to check next, best first.")
    advice = one(AdviceSchema, "Check on, or repair.")
    cautions = each(CautionSchema, "Dangers of the whole job.")
    scope = one(ScopeSchema, "Whether this machine is covered.")
    trace = each(FiredSchema, "Which rules fired.")
    further_checks = each(
        NextCheckSchema,
        "What would be checked next if everything were at hand; there where 'on_hand' was given.",
        required=False,
    )


class AnswerSchema(SideAnswerSchema):
    """A diagnosis; of a machine with two solenoids, that of the side named first."""

    side = fields.String(
        validate=validate.OneOf(["left", "right"]),
        metadata=says("Which of two solenoids the answer is about, when told."),
    )
    sides = fields.Dict(
        keys=fields.String(validate=validate.OneOf(["left", "right"])),
        values=fields.Nested(SideAnswerSchema),
        metadata=says("The diagnosis of each side, when findings name sides."),
    )


class ErrorSchema(Schema):
    """One thing wrong with a request."""

    path = text("Where it stands, such as 'findings[2].unit'; empty for the whole body.")
    message = text("What is wrong, with the nearest right word where there is one.")


class ProblemSchema(Schema):
    """Problem details as in RFC 9457."""

    type = text("Kind of problem, a reference that can be fetched.")
    title = text("The kind in words.")
    status = fields.Integer(required=True, strict=True, metadata=says("The HTTP status, repeated."))
    detail = text("What is wrong with this request.")
    errors = each(ErrorSchema, "Every fault found, with its place.")
    request_id = text("The id to quote; also in the X-Request-Id header.")


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


class DescriptionSchema(Schema):
    """OpenAPI 3.1."""

    class Meta:
        """Its own description is the standard's."""

        unknown = "include"
