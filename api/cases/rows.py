"""Between a case and its rows in the store; with it the engine's whole answer.

That is kept for the last two versions, so that what the last step brought can be told without
asking the engine, and good as long as program, knowledge and learned shares are the same.
"""

import zlib
from functools import lru_cache

import orjson  # 40 times as quick as json with an answer on every cause; nobody else reads it
from sqlalchemy import bindparam, delete, or_
from sqlalchemy.orm import Session

from api.cases.case import (
    Case,
    CaseDiagnosis,
    CaseEntry,
    CaseFinding,
    CaseOutcome,
    CaseStep,
    Withdrawal,
)
from api.cases.learning import IMPORTED, YES
from api.cases.texts import TEXTS
from api.cases.wording import words
from api.store.models import CaseRow, DiagnosisRow, FindingRow, StepRow
from api.strict_json import Json
from api.version import version
from engine import Knowledge

LEAST = 0.1  # belief in a cause that its findings bear out (judgement)
READ = 8  # kept answers that stay read; one takes about two megabytes
FAST = 1  # zlib: a third of the usual time, a fifth more bytes, of which two versions are kept
_REPLACED = (
    delete(DiagnosisRow)
    .where(DiagnosisRow.case_order == bindparam("order"))
    .where(or_(DiagnosisRow.version == bindparam("this"), DiagnosisRow.version < bindparam("last")))
    .execution_options(synchronize_session=False)
)


def case_of(row: CaseRow, diagnosis: CaseDiagnosis | None = None) -> Case:
    """Return a case as it stands in the store."""
    found = tuple(_finding_of(one) for one in row.findings)
    return Case(**_head(row), findings=found, diagnosis=diagnosis)


def entry_of(row: CaseRow) -> CaseEntry:
    """Return a case without its findings, which are not read."""
    return CaseEntry(**_head(row))


def _head(row: CaseRow) -> Json:
    kept = ("number", "version", "state", "opened_at", "opened_by", "changed_at", "machine",
            "settings", "leading")  # fmt: skip
    outcome = None if row.outcome is None else CaseOutcome.of(row.outcome)
    return {name: getattr(row, name) for name in (*kept, *TEXTS)} | {"outcome": outcome}


def _finding_of(row: FindingRow) -> CaseFinding:
    gone = None
    if row.withdrawn_at is not None:
        gone = Withdrawal(row.withdrawn_by or "", row.withdrawn_at, row.withdrawn_because or "")
    photos = tuple(row.photos) if row.photos else None
    return CaseFinding(row.place, row.body, row.by, row.at, gone, photos)


def step_of(row: StepRow, knowledge: Knowledge) -> CaseStep:
    """Return a step with its sentence."""
    told = words(row.kind, row.by, row.body, knowledge)
    return CaseStep(row.version, row.kind, row.by, row.at, told, row.body, row.diagnosis)


def new_row(case: Case, knowledge: Knowledge) -> CaseRow:
    """Return the row of a new case, its findings with it."""
    row = CaseRow(number=case.number, opened_at=case.opened_at, opened_by=case.opened_by)
    update_row(row, case, knowledge)
    return row


def update_row(row: CaseRow, case: Case, knowledge: Knowledge) -> None:
    """Write the next version into the row; no finding is taken out."""
    kept = {one.place: one for one in row.findings}
    for one in case.findings:
        if one.place not in kept:
            photos = list(one.photos) if one.photos else None
            kept[one.place] = FindingRow(
                place=one.place, body=dict(one.body), by=one.by, at=one.at, photos=photos
            )
            row.findings.append(kept[one.place])
        gone, there = one.withdrawn, kept[one.place]
        there.withdrawn_by, there.withdrawn_at, there.withdrawn_because = (
            (gone.by, gone.at, gone.because) if gone else (None, None, None)
        )
    row.version, row.state, row.changed_at = case.version, case.state, case.changed_at
    said = {name: str(getattr(case, name)) for name in TEXTS}
    for name, value in said.items():
        setattr(row, name, value)
    row.machine, row.settings = dict(case.machine), dict(case.settings)
    circuits = knowledge.circuits_of(case.machine.get("duty"), case.machine.get("control"))
    row.circuit = circuits[0].id if len(circuits) == 1 else ""
    row.outcome = dict(case.outcome.to_dict()) if case.outcome else None
    row.confirmed = case.outcome.cause if case.outcome else ""
    row.closed_key = case.outcome.by.rpartition(" via ")[2] if case.outcome else ""
    row.closed_on = case.outcome.at.date().isoformat() if case.outcome else ""
    row.borne_out = borne_out(case)
    if case.is_open and row.learn == YES:  # said of another end than the case will have
        row.learn = IMPORTED if row.imported_as else ""
    row.leading = None if case.leading is None else dict(case.leading)
    row.search = "\n".join([case.number, *said.values(), case.opened_by]).casefold()


def borne_out(case: Case) -> bool:
    """Return whether what was found bears out the cause that was confirmed.

    The whole diagnosis tells, whatever of it the case shows; a case read without it has none.
    """
    answer = (case.diagnosis.answer if case.diagnosis else None) or {}
    sides = [answer, *(answer.get("sides") or {}).values()]
    causes = [one for side in sides for one in side.get("causes") or ()]
    cause = case.outcome.cause if case.outcome else None
    likely = any(one["id"] == cause and one["probability"] >= LEAST for one in causes)
    return bool(case.counted) and likely


def made_with(knowledge_version: str) -> str:
    """Return what an answer depends on beside the case: the program and its knowledge."""
    return f"{version()} {knowledge_version}"


def keep(session: Session, order: int, version: int, found: CaseDiagnosis) -> None:
    """Keep a diagnosis in the place of its own version's, and throw away those before the last."""
    if found.answer is None:
        return
    body = zlib.compress(orjson.dumps(found.to_dict(), option=orjson.OPT_SERIALIZE_NUMPY), FAST)
    used = made_with(found.answer["knowledge_version"])
    session.execute(_REPLACED, {"order": order, "this": version, "last": version - 1})
    session.add(DiagnosisRow(case_order=order, version=version, made_with=used, body=body))


def kept(session: Session, order: int, version: int, with_: str) -> CaseDiagnosis | None:
    """Return the diagnosis of a version, unless there is none made ``with_`` the same."""
    row = session.get(DiagnosisRow, (order, version))
    if row is None or row.made_with != with_:
        return None
    return _read(bytes(row.body))


@lru_cache(maxsize=READ)
def _read(body: bytes) -> CaseDiagnosis:
    """Return a kept diagnosis, shared by all who ask: a page and its parts, and the page after."""
    return CaseDiagnosis.of(orjson.loads(zlib.decompress(body)))
