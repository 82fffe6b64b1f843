"""Cases, field by field, for /openapi.json: what is sent, and what is answered."""

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validate

from api.cases import edits, numbers, texts
from api.cases.case import CLOSED, OPEN
from api.web import request_words
from api.web.schemas import SideAnswerSchema, each, number, text, whole
from engine.knowledge import items
from engine.reasoning.request import FindingSchema, MachineSchema, RequestSchema

_LINE = r"^[^\u0000-\u001f\u007f-\u009f]*$"
_LINES = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$"
TIME = {"format": "date-time"}
_BY = "Name of the person who says it; the name of the caller's key is put behind it."


def _typed(description: str, most: int, lines: bool = False, **kwargs: Any) -> fields.String:
    """Return a field for a text that a person types."""
    about = {"description": description, "pattern": _LINES if lines else _LINE}
    return fields.String(validate=validate.Length(max=most), metadata=about, **kwargs)


def _own(description: str, name: str, **kwargs: Any) -> fields.String:
    most, lines = texts.LIMITS[name]
    return _typed(description, most, lines, **kwargs)


def _time(description: str) -> fields.String:
    return fields.String(required=True, metadata={"description": description, **TIME})


def _null(kind: type[Schema], description: str, **kwargs: Any) -> fields.Nested:
    """Return a field for an object or null."""
    return fields.Nested(kind, allow_none=True, metadata={"description": description}, **kwargs)


_MINUTES = validate.Range(min=0, max=edits.MOST_MINUTES)
_FLEET = "The machine's number in the fleet."
_TYPE = "Type of machine, as people call it."
_REFERENCE = "The shop's own number for the job, such as a work order."
_COMPLAINT = "What the caller complains of, in their words."
_HANDED = "Who has the case now."


class OwnTexts(Schema):
    """What a case says of itself in words."""

    fleet_number = _own(_FLEET, "fleet_number", allow_none=True)
    machine_type = _own(_TYPE, "machine_type", allow_none=True)
    reference = _own(_REFERENCE, "reference", allow_none=True)
    complaint = _own(_COMPLAINT, "complaint", allow_none=True)
    handed_to = _own(_HANDED, "handed_to", allow_none=True)
    by = _typed(_BY, texts.NAME)


class CaseOpeningSchema(OwnTexts, RequestSchema):
    """A case to be opened; only the machine is required."""


class FindingSentSchema(FindingSchema):
    """One finding to be added."""

    by = _typed(_BY, texts.NAME)


class FindingListSentSchema(Schema):
    """Several findings, added in one step."""

    findings = fields.List(
        fields.Nested(FindingSchema), required=True,
        validate=validate.Length(min=1, max=edits.MOST_FINDINGS),
        metadata={"description": "The findings, in the order in which they were made."},
    )  # fmt: skip
    by = _typed(_BY, texts.NAME)


class CaseChangesSchema(OwnTexts):
    """What is to be changed (RFC 7396): a field that is left out stays, null clears one."""

    machine = fields.Dict(
        keys=fields.String(),
        metadata={"description": "Fields of the machine that change; null takes one out."},
    )
    on_hand = fields.List(
        fields.String(validate=validate.OneOf(items.KINDS)), allow_none=True,
        metadata={"description": "Kinds of check that can be done now; null is all."},
    )  # fmt: skip
    excluded = fields.List(
        fields.String(), allow_none=True,
        metadata={"description": "Ids of causes that were put right, the complaint unchanged."},
    )  # fmt: skip
    limit = fields.Integer(
        strict=True, allow_none=True, validate=validate.Range(min=0, max=1000),
        metadata={"description": "How many causes the diagnosis shows; 0 is all."},
    )  # fmt: skip


class WithBecauseSchema(Schema):
    """Why something is taken back."""

    because = _typed("Why, in a sentence.", texts.BECAUSE, lines=True)
    by = _typed(_BY, texts.NAME)


class CaseClosingSchema(Schema):
    """How the case ended."""

    cause = fields.String(
        required=True,
        metadata={
            "description": "Id of the cause that was confirmed; 'healthy' when nothing was wrong, "
            "'outside' when it was not in this circuit, 'unknown' when it was never found."
        },
    )
    replaced = fields.List(
        _typed("One part.", texts.REPLACED), allow_none=True, validate=validate.Length(max=30),
        metadata={"description": "What was replaced."},
    )  # fmt: skip
    minutes = fields.Integer(
        strict=True, allow_none=True, validate=_MINUTES,
        metadata={"description": "Minutes of work."},
    )  # fmt: skip
    note = _typed("Anything else.", texts.NOTE, lines=True, allow_none=True)
    by = _typed(_BY, texts.NAME)


class WithdrawalSchema(Schema):
    """Who withdrew a finding, when and why."""

    by = text("Who withdrew it.")
    at = _time("When.")
    because = text("Why; may be empty.")


class CaseFindingSchema(FindingSchema):
    """A finding of a case: as it was sent, with its place and who told it."""

    place = whole("Its place in the case, counted from 1; it never changes.", least=1)
    by = text("Who told it.")
    at = _time("When it came in.")
    withdrawn = _null(WithdrawalSchema, "Null while it counts.", required=True)


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
        metadata={"description": "Its place; null when it is the machine that is not taken."},
    )  # fmt: skip
    because = text("Why it is left out.")


def _maybe(description: str) -> fields.String:
    return fields.String(required=True, allow_none=True, metadata={"description": description})


class LeadingSideSchema(Schema):
    """The diagnosis in short."""

    causes = each(LeadingCauseSchema, "At most five causes, most probable first.")
    next_check = _null(LeadingCheckSchema, "The best check to do next, if any.", required=True)
    fit = _maybe("How well the best cause explains the findings: good, strained or poor.")
    advice = _maybe("'check', 'repair' or 'refer'.")
    covered = fields.Boolean(
        required=True, allow_none=True,
        metadata={"description": "False when this machine has no such circuit."},
    )  # fmt: skip


class LeadingSchema(LeadingSideSchema):
    """The diagnosis in short, as it was at this version of the case."""

    knowledge_version = _maybe("Version of the knowledge base that gave it.")
    left_out = each(LeftOutSchema, "Findings that this knowledge base does not take.")
    side = fields.String(metadata={"description": "Which of two solenoids it is about."})
    sides = fields.Dict(
        keys=fields.String(), values=fields.Nested(LeadingSideSchema),
        metadata={"description": "The same for each side, when findings name sides."},
    )  # fmt: skip


class OutcomeSchema(Schema):
    """How a case ended."""

    cause = text("Id of the confirmed cause, or 'healthy', 'outside' or 'unknown'.")
    replaced = fields.List(
        fields.String(), required=True, metadata={"description": "What was replaced."}
    )
    minutes = fields.Integer(
        required=True, strict=True, allow_none=True, metadata={"description": "Minutes of work."}
    )
    note = text("Anything else; may be empty.")
    by = text("Who closed it.")
    at = _time("When it was closed.")


class CaseEntrySchema(Schema):
    """A case without its findings, as lists have it."""

    number = text("Eight digits with a gap; the last one is a check digit.",
                  validate=validate.Regexp(rf"^\d{{4}} \d{{{numbers.DIGITS - 4}}}$"))  # fmt: skip
    version = whole("Counts up with each step; also the ETag.", least=1)
    state = text("Whether it is open.", validate=validate.OneOf([OPEN, CLOSED]))
    opened_at = _time("When it was opened.")
    opened_by = text("Who opened it.")
    changed_at = _time("When the last step was done.")
    fleet_number = text(_FLEET + " Empty when not told.")
    machine_type = text(_TYPE + " Empty when not told.")
    reference = text(_REFERENCE + " Empty when not told.")
    handed_to = text(_HANDED + " Empty when nobody is named.")
    complaint = text(_COMPLAINT + " Empty when not told.")
    machine = fields.Nested(
        MachineSchema, required=True, metadata={"description": "The machine's circuit, as told."}
    )
    on_hand = fields.List(
        fields.String(), required=True, allow_none=True,
        metadata={"description": "Kinds of check that can be done now; null is all."},
    )  # fmt: skip
    excluded = fields.List(
        fields.String(), required=True,
        metadata={"description": "Ids of causes that were put right, the complaint unchanged."},
    )  # fmt: skip
    limit = whole("How many causes the diagnosis shows; 0 is all.")
    leading = fields.Nested(
        LeadingSchema, required=True, metadata={"description": "The diagnosis at this version."}
    )
    outcome = _null(OutcomeSchema, "How it ended; null while it is open.", required=True)


class CaseSchema(CaseEntrySchema):
    """One machine, its complaint, what was found, the diagnosis, and how it ended."""

    findings = each(CaseFindingSchema, "Every finding as it came in, withdrawn ones too.")


class CaseListSchema(Schema):
    """One page of cases, newest first."""

    cases = each(CaseEntrySchema, "The cases.")
    next_cursor = _maybe("Send it as 'cursor' for the next page; null on the last one.")


class CaseStepSchema(Schema):
    """One step of a case."""

    version = whole("The version that it made.", least=1)
    kind = text("Kind of step.", validate=validate.OneOf(
        ["opened", "finding-added", "finding-withdrawn", "changed", "closed", "reopened"]
    ))  # fmt: skip
    by = text("Who did it.")
    at = _time("When.")
    words = text("What it did, as a sentence.")
    changed = fields.Dict(
        keys=fields.String(), required=True, metadata={"description": "What it did, as data."}
    )
    diagnosis = _null(LeadingSchema, "The diagnosis after it.", required=True)


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
        metadata={"description": "places[i] is the place in the case of the answer's finding i."},
    )  # fmt: skip
    left_out = each(LeftOutSchema, "Findings that the present knowledge base does not take.")
    side = fields.String(metadata={"description": "Which of two solenoids it is about."})
    sides = fields.Dict(
        keys=fields.String(), values=fields.Nested(SideAnswerSchema),
        metadata={"description": "The diagnosis of each side, when findings name sides."},
    )  # fmt: skip


class WorkOrderFindingSchema(Schema):
    """A finding on a work order."""

    place = whole("Its place in the case.", least=1)
    check = text("Id of the check.")
    name = text("Name of the check.")
    side = _maybe("Which of two solenoids.")
    found = text("What it showed, in words.")
    note = text("What was noted beside it; may be empty.")
    by = text("Who told it.")
    at = _time("When.")
    withdrawn = _null(WithdrawalSchema, "Null while it counts.", required=True)


class WorkOrderCauseSchema(Schema):
    """A likely cause on a work order."""

    id = text("Its id.")
    name = text("Its name.")
    probability = number("Belief in it, from 0 to 1.")
    remedy = text("What to do about it.")
    proof_of_repair = text("What proves the repair.")
    cautions = fields.List(
        fields.String(), required=True, metadata={"description": "Dangers of the remedy."}
    )


class WorkOrderCheckSchema(Schema):
    """A check on a work order."""

    check = text("Its id.")
    name = text("Its name.")
    say = text("The sentence to read to a caller.")
    how = text("How to do it.")
    minutes = number("Minutes that it takes.")
    cautions = fields.List(
        fields.String(), required=True, metadata={"description": "Dangers of the check."}
    )


class WorkOrderOutcomeSchema(OutcomeSchema):
    """How the case ended, with the cause's name."""

    cause_name = text("Name of the confirmed cause, or what was the matter in words.")


class WorkOrderSchema(Schema):
    """A case to take along."""

    number = text("Number of the case.")
    version = whole("Version of the case.", least=1)
    state = text("Whether it is open.")
    opened_at = _time("When it was opened.")
    opened_by = text("Who opened it.")
    changed_at = _time("When the last step was done.")
    fleet_number = text(_FLEET)
    machine_type = text(_TYPE)
    reference = text(_REFERENCE)
    handed_to = text(_HANDED)
    complaint = text(_COMPLAINT)
    machine = fields.Nested(
        MachineSchema, required=True, metadata={"description": "The machine's circuit, as told."}
    )
    findings = each(WorkOrderFindingSchema, "Every finding, withdrawn ones too.")
    causes = each(WorkOrderCauseSchema, "The three most likely causes.")
    next_checks = each(WorkOrderCheckSchema, "The check to do next, if any.")
    cautions = fields.List(
        fields.String(), required=True, metadata={"description": "Dangers of the whole job."}
    )
    outcome = _null(WorkOrderOutcomeSchema, "How it ended; null while open.", required=True)
    knowledge_version = _maybe("Version of the knowledge base that gave the causes.")
    defers = text("What wins over this sheet.")


class CountedSchema(Schema):
    """Closed cases with one outcome."""

    circuit = _maybe("Id of the circuit; null when the control was never settled.")
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

    on = fields.Boolean(
        required=True, metadata={"description": "Whether diagnoses use the learned shares."}
    )
    knowledge_version = text("Version of the knowledge that diagnoses are given with.")
    prior_cases = number("Closed cases that the shipped shares count as much as, per circuit.")
    closed_cases = whole("Closed cases.")
    learned_from = whole("Those of them that count.")
    outcomes = each(CountedSchema, "What was confirmed, by circuit and cause.")
    not_counted = each(NotCountedSchema, "What nothing is learned from, and why.")
    shares = each(ShareSchema, "Shares of the circuits that have confirmed causes.")


COMPONENTS: dict[str, type[Schema]] = {
    "CaseOpening": CaseOpeningSchema,
    "FindingSent": FindingSentSchema,
    "FindingListSent": FindingListSentSchema,
    "CaseChanges": CaseChangesSchema,
    "WithBecause": WithBecauseSchema,
    "CaseClosing": CaseClosingSchema,
    "Case": CaseSchema,
    "CaseList": CaseListSchema,
    "CaseSteps": CaseStepsSchema,
    "CaseDiagnosis": CaseDiagnosisSchema,
    "WorkOrder": WorkOrderSchema,
    "Learning": LearningSchema,
}
# schemas that take no unknown fields
CLOSED_SETS = ("CaseOpening", "FindingSent", "FindingListSent", "CaseChanges", "WithBecause",
               "CaseClosing")  # fmt: skip
WORDS: Mapping[str, Mapping[str, str]] = {
    "CaseOpening": request_words.FIELDS["Request"],
    "FindingSent": request_words.FIELDS["Finding"],
    "CaseFinding": request_words.FIELDS["Finding"],
}
