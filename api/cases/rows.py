"""Between a case and its rows in the store."""

from api.cases.case import Case, CaseDiagnosis, CaseFinding, CaseStep, Json, Outcome, Withdrawal
from api.cases.texts import TEXTS
from api.cases.wording import words
from api.store.models import CaseRow, FindingRow, StepRow
from engine import Knowledge


def case_of(row: CaseRow, diagnosis: CaseDiagnosis | None = None, whole: bool = True) -> Case:
    """Return a case as it stands in the store; without its findings where it is not ``whole``."""
    return Case(
        number=row.number, version=row.version, state=row.state, opened_at=row.opened_at,
        opened_by=row.opened_by, changed_at=row.changed_at, machine=row.machine,
        **{name: getattr(row, name) for name in TEXTS}, settings=row.settings,
        findings=tuple(_finding_of(one) for one in row.findings) if whole else (),
        outcome=None if row.outcome is None else Outcome.of(row.outcome), leading=row.leading,
        diagnosis=diagnosis,
    )  # fmt: skip


def _finding_of(row: FindingRow) -> CaseFinding:
    gone = None
    if row.withdrawn_at is not None:
        gone = Withdrawal(row.withdrawn_by or "", row.withdrawn_at, row.withdrawn_because or "")
    return CaseFinding(row.place, row.body, row.by, row.at, gone)


def step_of(row: StepRow, knowledge: Knowledge) -> CaseStep:
    """Return a step with its sentence."""
    told = words(row.kind, row.by, row.body, knowledge)
    return CaseStep(row.version, row.kind, row.by, row.at, told, row.body, row.diagnosis)


def new_row(case: Case, knowledge: Knowledge) -> CaseRow:
    """Return the row of a new case, its findings with it."""
    row = CaseRow(
        number=case.number, version=case.version, opened_at=case.opened_at,
        opened_by=case.opened_by, findings=[_finding(one) for one in case.findings],
    )  # fmt: skip
    _set(row, case, knowledge)
    return row


def update_row(row: CaseRow, case: Case, knowledge: Knowledge) -> None:
    """Write the next version into the row; findings are added or withdrawn, never taken out."""
    row.version = case.version
    kept = {one.place: one for one in row.findings}
    for one in case.findings:
        if one.place not in kept:
            row.findings.append(_finding(one))
        elif one.withdrawn is not None and kept[one.place].withdrawn_at is None:
            _withdraw(kept[one.place], one.withdrawn)
    _set(row, case, knowledge)


def circuit_of(machine: Json, knowledge: Knowledge) -> str:
    """Return the id of the one circuit that the machine can have, or nothing."""
    found = [
        name
        for name, one in knowledge.circuits.items()
        if (one.duty, one.control) == (machine.get("duty"), machine.get("control"))
    ]
    return found[0] if len(found) == 1 else ""


def _set(row: CaseRow, case: Case, knowledge: Knowledge) -> None:
    row.state, row.changed_at = case.state, case.changed_at
    said = {name: str(getattr(case, name)) for name in TEXTS}
    for name, value in said.items():
        setattr(row, name, value)
    row.machine, row.settings = dict(case.machine), dict(case.settings)
    row.circuit = circuit_of(case.machine, knowledge)
    row.outcome = case.outcome.to_dict() if case.outcome else None
    row.confirmed = case.outcome.cause if case.outcome else ""
    row.leading = None if case.leading is None else dict(case.leading)
    row.search = "\n".join([case.number, *said.values(), case.opened_by]).casefold()


def _finding(one: CaseFinding) -> FindingRow:
    return FindingRow(place=one.place, body=dict(one.body), by=one.by, at=one.at)


def _withdraw(row: FindingRow, gone: Withdrawal) -> None:
    row.withdrawn_by, row.withdrawn_at, row.withdrawn_because = gone.by, gone.at, gone.because
