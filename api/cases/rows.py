"""From a draft to its rows in the store."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from api.cases.draft import CLOSED, Draft, Kept
from api.cases.lists import searched
from api.store.models import Case, CaseFinding
from engine import Knowledge


def new_row(draft: Draft, leading: Mapping[str, Any], knowledge: Knowledge) -> Case:
    """Return the row of a new case, its findings with it."""
    row = Case(
        number=draft.number, version=draft.version, opened_at=draft.opened_at,
        opened_by=draft.opened_by, findings=[_finding(one) for one in draft.findings],
    )  # fmt: skip
    _set(row, draft, draft.changed_at, leading, knowledge)
    return row


def update_row(
    row: Case, draft: Draft, at: datetime, leading: Mapping[str, Any], knowledge: Knowledge
) -> None:
    """Write the next version into the row; findings are added or withdrawn, never taken out."""
    row.version += 1
    kept = {one.place: one for one in row.findings}
    for one in draft.findings:
        if one.place not in kept:
            row.findings.append(_finding(one))
        elif one.withdrawn is not None and kept[one.place].withdrawn_at is None:
            _withdraw(kept[one.place], one)
    _set(row, draft, at, leading, knowledge)


def circuit_of(machine: Mapping[str, Any], knowledge: Knowledge) -> str:
    """Return the id of the one circuit that the machine can have, or nothing."""
    found = [
        name
        for name, one in knowledge.circuits.items()
        if (one.duty, one.control) == (machine.get("duty"), machine.get("control"))
    ]
    return found[0] if len(found) == 1 else ""


def _set(
    row: Case, draft: Draft, at: datetime, leading: Mapping[str, Any], knowledge: Knowledge
) -> None:
    row.state, row.changed_at = draft.state, at
    for name, value in draft.texts.items():
        setattr(row, name, value)
    row.machine, row.settings = dict(draft.machine), dict(draft.settings)
    row.circuit = circuit_of(draft.machine, knowledge)
    row.outcome = None if draft.outcome is None else dict(draft.outcome)
    row.confirmed = row.outcome["cause"] if row.outcome and draft.state == CLOSED else ""
    row.leading = dict(leading)
    row.search = searched(dict(draft.texts), draft.number, draft.opened_by)


def _finding(one: Kept) -> CaseFinding:
    return CaseFinding(place=one.place, body=dict(one.body), by=one.by, at=one.at)


def _withdraw(row: CaseFinding, one: Kept) -> None:
    assert one.withdrawn is not None  # the caller looked
    row.withdrawn_by, row.withdrawn_at = one.withdrawn.by, one.withdrawn.at
    row.withdrawn_because = one.withdrawn.because
