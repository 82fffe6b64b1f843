"""Between a case and its rows in the store; with it the engine's whole answer.

A step reads and writes tables, without SQLAlchemy's objects: those take three times as long, and
who answers at the desk waits for it. The answer is kept for the last two versions, so that what the
last step brought can be told without asking the engine, and good as long as program, knowledge and
learned shares are the same.
"""

import zlib
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from threading import Lock
from typing import Any

import orjson  # 40 times as quick as json with an answer on every cause; nobody else reads it
from sqlalchemy import Connection, Row, Table, and_, bindparam, or_, select

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
from api.store.models import CaseRow, DiagnosisRow, FindingRow, StepRow, table_of
from api.strict_json import Json
from api.version import version
from engine import Knowledge

LEAST = 0.1  # belief in a cause that its findings bear out (judgement)
READ = 8  # kept answers that stay read; one takes about two megabytes
FAST = 1  # zlib: a third of the usual time, a fifth more bytes, of which two versions are kept
CASES, FINDINGS, STEPS = map(table_of, (CaseRow, FindingRow, StepRow))
_DIAGNOSES: Table = table_of(DiagnosisRow)
# made once: with every step they would cost more than the store takes to run them
_FINDINGS = (
    select(FINDINGS).where(FINDINGS.c.case_order == bindparam("of")).order_by(FINDINGS.c.place)
)
_UPDATE = CASES.update().where(CASES.c.order == bindparam("its"))
_WITHDRAW = FINDINGS.update().where(FINDINGS.c.id == bindparam("its"))
_MADE = (
    select(_DIAGNOSES.c.made_with, _DIAGNOSES.c.body)
    .where(_DIAGNOSES.c.case_order == bindparam("of"), _DIAGNOSES.c.version == bindparam("at"))
)  # fmt: skip
_REPLACED = _DIAGNOSES.delete().where(and_(
    _DIAGNOSES.c.case_order == bindparam("of"),
    or_(_DIAGNOSES.c.version == bindparam("this"), _DIAGNOSES.c.version < bindparam("last")),
))  # fmt: skip


def case_of(row: CaseRow) -> Case:
    """Return a case of a list or an export as it stands in the store."""
    return _case(row, row.findings)


def read_case(
    connection: Connection, row: Row[Any], diagnosis: CaseDiagnosis | None = None
) -> Case:
    """Return the case of a row as it stands in the store."""
    return _case(row, connection.execute(_FINDINGS, {"of": row.order}), diagnosis)


def _case(row: Any, findings: Iterable[Any], diagnosis: CaseDiagnosis | None = None) -> Case:
    return Case(**_head(row), findings=tuple(map(_finding_of, findings)), diagnosis=diagnosis)


def entry_of(row: CaseRow) -> CaseEntry:
    """Return a case without its findings, which are not read."""
    return CaseEntry(**_head(row))


def _head(row: Any) -> Json:
    kept = ("number", "version", "state", "opened_at", "opened_by", "changed_at", "machine",
            "settings", "leading")  # fmt: skip
    outcome = None if row.outcome is None else CaseOutcome.of(row.outcome)
    return {name: getattr(row, name) for name in (*kept, *TEXTS)} | {"outcome": outcome}


def _finding_of(row: Any) -> CaseFinding:
    gone = None
    if row.withdrawn_at is not None:
        gone = Withdrawal(row.withdrawn_by or "", row.withdrawn_at, row.withdrawn_because or "")
    photos = tuple(row.photos) if row.photos else None
    return CaseFinding(row.place, row.body, row.by, row.at, gone, photos)


def step_of(row: Any, knowledge: Knowledge) -> CaseStep:
    """Return a step with its sentence."""
    told = words(row.kind, row.by, row.body, knowledge)
    return CaseStep(row.version, row.kind, row.by, row.at, told, row.body, row.diagnosis)


def add_case(connection: Connection, case: Case, knowledge: Knowledge, **more: str) -> int:
    """Write a new case with its findings and return its place in the order of all.

    ``more`` are columns that no case has. Raises IntegrityError where its number is taken.
    """
    new = {"number": case.number, "opened_at": case.opened_at, "opened_by": case.opened_by,
           "learn": "", "imported_as": None, **more}  # fmt: skip
    insert = CASES.insert().returning(CASES.c.order)
    order = connection.execute(insert, new | _columns(case, knowledge)).scalar_one()
    _add_findings(connection, order, case.findings)
    return int(order)


def change_case(connection: Connection, row: Row[Any], case: Case, knowledge: Knowledge) -> None:
    """Write the next version of a row's case; no finding is taken out."""
    new = _columns(case, knowledge)
    if case.is_open and row.learn == YES:  # said of another end than the case will have
        new["learn"] = IMPORTED if row.imported_as else ""
    changed = {name: value for name, value in new.items() if value != getattr(row, name)}
    connection.execute(_UPDATE, {"its": row.order, **changed})
    there = {one.place: one for one in connection.execute(_FINDINGS, {"of": row.order})}
    _add_findings(connection, row.order, [one for one in case.findings if one.place not in there])
    for one in case.findings:
        gone, old = _gone(one), there.get(one.place)
        if old is not None and any(gone[name] != getattr(old, name) for name in gone):
            connection.execute(_WITHDRAW, {"its": old.id, **gone})


def _columns(case: Case, knowledge: Knowledge) -> dict[str, Any]:
    """Return what a version of a case says in its row."""
    said = {name: str(getattr(case, name)) for name in TEXTS}
    circuits = knowledge.circuits_of(case.machine.get("duty"), case.machine.get("control"))
    return {
        "version": case.version, "state": case.state, "changed_at": case.changed_at, **said,
        "machine": dict(case.machine), "settings": dict(case.settings),
        "circuit": circuits[0].id if len(circuits) == 1 else "",
        "outcome": dict(case.outcome.to_dict()) if case.outcome else None,
        "confirmed": case.outcome.cause if case.outcome else "",
        "closed_key": case.outcome.by.rpartition(" via ")[2] if case.outcome else "",
        "closed_on": case.outcome.at.date().isoformat() if case.outcome else "",
        "borne_out": borne_out(case),
        "leading": None if case.leading is None else dict(case.leading),
        "search": "\n".join([case.number, *said.values(), case.opened_by]).casefold(),
    }  # fmt: skip


def _add_findings(connection: Connection, order: int, findings: Sequence[CaseFinding]) -> None:
    rows = [
        {"case_order": order, "place": one.place, "body": dict(one.body), "by": one.by,
         "at": one.at, "photos": list(one.photos) if one.photos else None, **_gone(one)}
        for one in findings
    ]  # fmt: skip
    if rows:
        connection.execute(FINDINGS.insert(), rows)


def _gone(finding: CaseFinding) -> dict[str, Any]:
    """Return who withdrew a finding, when and why, as its row has it."""
    gone = finding.withdrawn
    by, at, why = (gone.by, gone.at, gone.because) if gone else (None, None, None)
    return {"withdrawn_by": by, "withdrawn_at": at, "withdrawn_because": why}


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


def keep(connection: Connection, order: int, version: int, found: CaseDiagnosis) -> None:
    """Keep a diagnosis in the place of its own version's, and throw away those before the last."""
    if found.answer is None:
        return
    body = zlib.compress(orjson.dumps(found.to_dict(), option=orjson.OPT_SERIALIZE_NUMPY), FAST)
    used = made_with(found.answer["knowledge_version"])
    connection.execute(_REPLACED, {"of": order, "this": version, "last": version - 1})
    new = {"case_order": order, "version": version, "made_with": used, "body": body}
    connection.execute(_DIAGNOSES.insert(), new)
    _LATELY.put(body, found)


def kept(connection: Connection, order: int, version: int, with_: str) -> CaseDiagnosis | None:
    """Return the diagnosis of a version, unless there is none made ``with_`` the same."""
    row = connection.execute(_MADE, {"of": order, "at": version}).one_or_none()
    if row is None or row.made_with != with_:
        return None
    return _LATELY.read(bytes(row.body))


class _Lately:
    """The kept diagnoses that were written or read last, by their bytes.

    They are shared by all who ask: a page, its parts, and the page after.
    """

    def __init__(self) -> None:
        self._found: OrderedDict[bytes, CaseDiagnosis] = OrderedDict()
        self._turn = Lock()

    def put(self, body: bytes, found: CaseDiagnosis) -> None:
        """Keep a diagnosis as the latest."""
        with self._turn:
            self._found[body] = found
            self._found.move_to_end(body)
            if len(self._found) > READ:
                self._found.popitem(last=False)

    def read(self, body: bytes) -> CaseDiagnosis:
        """Return the diagnosis of these bytes."""
        found = self._found.get(body)
        found = found or CaseDiagnosis.of(orjson.loads(zlib.decompress(body)))
        self.put(body, found)
        return found


_LATELY = _Lately()
