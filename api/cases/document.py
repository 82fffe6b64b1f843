"""The case document and its steps, as callers see them."""

from typing import Any

from api.cases import numbers
from api.cases.draft import Draft, Kept
from api.cases.edits import moment
from api.cases.judging import Engine, Sent, judge
from api.cases.wording import words
from api.store.models import CaseStep
from engine import Knowledge


def document(draft: Draft) -> dict[str, Any]:
    """Return the case as one JSON object."""
    return {
        **head(draft),
        "complaint": draft.texts["complaint"],
        "machine": dict(draft.machine),
        "on_hand": draft.settings.get("on_hand"),
        "excluded": draft.settings.get("excluded", []),
        "limit": draft.settings.get("limit", 5),
        "findings": [finding(one) for one in draft.findings],
        "leading": draft.leading,
        "outcome": draft.outcome,
    }


def head(draft: Draft) -> dict[str, Any]:
    """Return what tells one case from another."""
    return {
        "number": numbers.show(draft.number),
        "version": draft.version,
        "state": draft.state,
        "opened_at": moment(draft.opened_at),
        "opened_by": draft.opened_by,
        "changed_at": moment(draft.changed_at),
        **{name: draft.texts[name] for name in ("fleet_number", "machine_type", "reference",
                                                "handed_to")},
    }  # fmt: skip


def finding(one: Kept) -> dict[str, Any]:
    """Return a finding with who told it and, if so, who withdrew it."""
    gone = one.withdrawn
    return {
        "place": one.place,
        "by": one.by,
        "at": moment(one.at),
        **one.body,
        "withdrawn": gone and {"by": gone.by, "at": moment(gone.at), "because": gone.because},
    }


def diagnosed(engine: Engine, draft: Draft) -> dict[str, Any]:
    """Return the engine's whole answer on the case, and where its findings stand in the case."""
    judged = judge(engine, draft, Sent())
    more = {"places": [*judged.places], "left_out": [*judged.left_out]}
    about = {"number": numbers.show(draft.number), "version": draft.version}
    return {**about, **(judged.answer or {"causes": [], "next_checks": []}), **more}


def step(row: CaseStep, knowledge: Knowledge) -> dict[str, Any]:
    """Return one step: what it changed, in words and as data, and the diagnosis after it."""
    return {
        "version": row.version,
        "kind": row.kind,
        "by": row.by,
        "at": moment(row.at),
        "words": words(row.kind, row.by, row.body, knowledge),
        "changed": row.body,
        "diagnosis": row.diagnosis,
    }
