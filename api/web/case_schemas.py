"""Cases as they are asked for and answered, field by field; api.cases.bodies is what is sent."""

from marshmallow import INCLUDE, Schema, fields, validate

from api.cases import lists, numbers
from api.cases.bodies import Typed
from api.cases.case import CLOSED, OPEN
from api.web.requests import QuerySchema, Whole, choice
from api.web.schemas import (
    SideAnswerSchema,
    each,
    flag,
    maybe,
    number,
    one,
    text,
    texts,
    whole,
)
from engine.reasoning.request import (
    LAY,
    TRAINED,
    DoneSchema,
    FindingSchema,
    MachineSchema,
    says,
)


def time(description: str) -> fields.String:
    """Return a field for a moment that is always there."""
    return fields.String(required=True, metadata=says(description) | {"format": "date-time"})


def null(kind: type[Schema], description: str) -> fields.Nested:
    """Return a field for an object or null that is always there."""
    return one(kind, description, allow_none=True)


class CaseListQuery(QuerySchema):
    """Which cases are listed, and how many on a page."""

    state = choice("state", lists.STATES, "Only open or only closed cases.")
    fleet_number = Typed("Only this machine; the whole number as it was written.", 40)
    text = Typed(
        "Words that all stand in the case, in any case of letters: number, fleet number, type, "
        "reference, complaint, who has it, who opened it.",
        lists.TEXT,
    )
    cursor = Typed("next_cursor of the page before, with the same filters.", 200)
    limit = Whole("Cases on one page.", 1, lists.MOST, lists.DEFAULT)


class StepsQuery(QuerySchema):
    """Which steps of a case are given."""

    since = Whole("Only the steps after this version.", 0, 999_999_999, 0)


class WithdrawalSchema(Schema):
    """Who withdrew a finding, when and why."""

    by = text("Who withdrew it.")
    at = time("When.")
    because = text("Why; may be empty.")


class CaseFindingSchema(FindingSchema):
    """A finding of a case: as it was sent, with its place and who told it."""

    place = whole("Its place in the case, counted from 1; it never changes.", least=1)
    by = text("Who told it.")
    at = time("When it came in.")
    withdrawn = null(WithdrawalSchema, "Null while it counts.")

    class Meta:
        """An answer may gain fields, though a finding that is sent has none beside these."""

        unknown = INCLUDE


class LeadingCauseSchema(Schema):
    """One of the leading causes."""

    id = text("Id of the cause, or 'healthy' or 'outside'.")
    name = text("Name of the cause.")
    probability = number("Belief in it, from 0 to 1.")
    group = whole("Causes that the findings do not separate share this number.", least=1)


class LeadingCheckSchema(Schema):
    """The check to do next."""

    check = text("Id of the check.")
    name = text("Name of the check.")
    kind = text("Kind of check.")
    minutes = number("Minutes that it takes.")
    say = text("The sentence to read to a caller.")


class LeftOutSchema(Schema):
    """A finding that the present knowledge base does not take; it stays in the case."""

    place = fields.Integer(
        required=True, strict=True, allow_none=True,
        metadata=says("Its place; null when it is the machine that is not taken."),
    )  # fmt: skip
    because = text("Why it is left out.")


class LeadingSideSchema(Schema):
    """The diagnosis in short."""

    causes = each(LeadingCauseSchema, "At most five causes, most probable first.")
    next_check = null(LeadingCheckSchema, "The best check to do next, if any.")
    fit = maybe("How well the best cause explains the findings: good, strained or poor.")
    advice = maybe("'check', 'repair' or 'refer'.")
    covered = fields.Boolean(
        required=True, allow_none=True,
        metadata=says("False when this machine has no such circuit."),
    )  # fmt: skip


class LeadingSchema(LeadingSideSchema):
    """The diagnosis in short, as it was at this version of the case."""

    knowledge_version = maybe("Version of the knowledge base that gave it.")
    left_out = each(LeftOutSchema, "Findings that this knowledge base does not take.")
    side = fields.String(metadata=says("Which of two solenoids it is about."))
    sides = fields.Dict(
        keys=fields.String(), values=fields.Nested(LeadingSideSchema),
        metadata=says("The same for each side, when findings name sides."),
    )  # fmt: skip


class OutcomeSchema(Schema):
    """How a case ended."""

    cause = text("Id of the confirmed cause, or 'healthy', 'outside' or 'unknown'.")
    replaced = texts("What was replaced.")
    minutes = fields.Integer(
        required=True, strict=True, allow_none=True, metadata=says("Minutes of work.")
    )
    note = text("Anything else; may be empty.")
    by = text("Who closed it.")
    at = time("When it was closed.")


class CaseHeadSchema(Schema):
    """What tells one case from another."""

    number = text("Eight digits with a gap; the last one is a check digit.",
                  validate=validate.Regexp(rf"^\d{{4}} \d{{{numbers.DIGITS - 4}}}$"))  # fmt: skip
    version = whole("Counts up with each step; also the ETag.", least=1)
    state = text("Whether it is open.", validate=validate.OneOf([OPEN, CLOSED]))
    opened_at = time("When it was opened.")
    opened_by = text("Who opened it.")
    changed_at = time("When the last step was done.")
    fleet_number = text("The machine's number in the fleet. Empty when not told.")
    machine_type = text("Type of machine, as people call it. Empty when not told.")
    reference = text("The shop's own number for the job. Empty when not told.")
    handed_to = text("Who has the case now. Empty when nobody is named.")
    complaint = text("What the caller complains of, in their words. Empty when not told.")
    machine = one(MachineSchema, "The machine's circuit, as told.")


class CaseEntrySchema(CaseHeadSchema):
    """A case without its findings, as lists have it."""

    on_hand = fields.List(
        fields.String(), required=True, allow_none=True,
        metadata=says("Kinds of check that can be done now; null is all."),
    )  # fmt: skip
    excluded = texts("Ids of causes that were put right, the complaint unchanged.")
    done = each(DoneSchema, "What was put right between findings; 'after' counts all of them.")
    skill = text("Who does the steps.", validate=validate.OneOf([LAY, TRAINED]))
    limit = whole("How many causes the diagnosis shows; 0 is all.")
    leading = one(LeadingSchema, "The diagnosis at this version.")
    outcome = null(OutcomeSchema, "How it ended; null while it is open.")


class CaseSchema(CaseEntrySchema):
    """One machine, its complaint, what was found, the diagnosis, and how it ended."""

    findings = each(CaseFindingSchema, "Every finding as it came in, withdrawn ones too.")


class CaseListSchema(Schema):
    """One page of cases, newest first."""

    cases = each(CaseEntrySchema, "The cases.")
    next_cursor = maybe("Send it as 'cursor' for the next page; null on the last one.")


class CaseStepSchema(Schema):
    """One step of a case."""

    version = whole("The version that it made.", least=1)
    kind = text("Kind of step.", validate=validate.OneOf(
        ["opened", "finding-added", "finding-withdrawn", "changed", "closed", "reopened"]
    ))  # fmt: skip
    by = text("Who did it.")
    at = time("When.")
    words = text("What it did, as a sentence.")
    changed = fields.Dict(
        keys=fields.String(), required=True, metadata=says("What it did, as data.")
    )
    diagnosis = null(LeadingSchema, "The diagnosis after it.")


class CaseStepsSchema(Schema):
    """The steps of a case, oldest first."""

    steps = each(CaseStepSchema, "The steps.")


class CaseDiagnosisSchema(SideAnswerSchema):
    """The whole diagnosis of a case as it stands, with where its findings stand in the case.

    The fields of the answer are missing when the present knowledge does not take the machine.
    """

    number = text("Number of the case.")
    version = whole("Version of the case.", least=1)
    places = fields.List(
        fields.Integer(strict=True), required=True,
        metadata=says("places[i] is the place in the case of the answer's finding i."),
    )  # fmt: skip
    left_out = each(LeftOutSchema, "Findings that the present knowledge base does not take.")
    side = fields.String(metadata=says("Which of two solenoids it is about."))
    sides = fields.Dict(
        keys=fields.String(), values=fields.Nested(SideAnswerSchema),
        metadata=says("The diagnosis of each side, when findings name sides."),
    )  # fmt: skip


class WorkOrderFindingSchema(Schema):
    """A finding on a work order."""

    place = whole("Its place in the case.", least=1)
    check = text("Id of the check.")
    name = text("Name of the check.")
    side = maybe("Which of two solenoids.")
    found = text("What it showed, in words.")
    note = text("What was noted beside it; may be empty.")
    by = text("Who told it.")
    at = time("When.")
    withdrawn = null(WithdrawalSchema, "Null while it counts.")


class WorkOrderCauseSchema(Schema):
    """A likely cause on a work order."""

    id = text("Its id.")
    name = text("Its name.")
    probability = number("Belief in it, from 0 to 1.")
    remedy = text("What to do about it.")
    proof_of_repair = text("What proves the repair.")
    cautions = texts("Dangers of the remedy.")


class WorkOrderCheckSchema(Schema):
    """A check on a work order."""

    check = text("Its id.")
    name = text("Its name.")
    say = text("The sentence to read to a caller.")
    how = text("How to do it.")
    minutes = number("Minutes that it takes.")
    cautions = texts("Dangers of the check.")


class WorkOrderOutcomeSchema(OutcomeSchema):
    """How the case ended, with the cause's name."""

    cause_name = text("Name of the confirmed cause, or what was the matter in words.")


class WorkOrderSchema(CaseHeadSchema):
    """A case to take along."""

    findings = each(WorkOrderFindingSchema, "Every finding, withdrawn ones too.")
    causes = each(WorkOrderCauseSchema, "The three most likely causes.")
    next_checks = each(WorkOrderCheckSchema, "The check to do next, if any.")
    cautions = texts("Dangers of the whole job.")
    outcome = null(WorkOrderOutcomeSchema, "How it ended; null while open.")
    knowledge_version = maybe("Version of the knowledge base that gave the causes.")
    defers = text("What wins over this sheet.")


class CountedSchema(Schema):
    """Closed cases with one outcome."""

    circuit = maybe("Id of the circuit; null when the control was never settled.")
    cause = text("Id of the confirmed cause.")
    count = whole("Closed cases.", least=1)


class NotCountedSchema(CountedSchema):
    """Closed cases that nothing is learned from."""

    because = text("Why not.")


class ShareSchema(Schema):
    """How often a cause is expected on a circuit, among all that it can have."""

    circuit = text("Id of the circuit.")
    cause = text("Id of the cause.")
    shipped = number("Share as shipped.")
    learned = number("Share after the closed cases.")


class LearningSchema(Schema):
    """What closed cases have taught this installation."""

    on = flag("Whether diagnoses use the learned shares.")
    knowledge_version = text("Version of the knowledge that diagnoses are given with.")
    prior_cases = number("Closed cases that the shipped shares count as much as, per circuit.")
    closed_cases = whole("Closed cases.")
    learned_from = whole("Those of them that count.")
    outcomes = each(CountedSchema, "What was confirmed, by circuit and cause.")
    not_counted = each(NotCountedSchema, "What nothing is learned from, and why.")
    shares = each(ShareSchema, "Shares of the circuits that have confirmed causes.")
