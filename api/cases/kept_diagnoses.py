"""The engine's whole answer, kept with the version of the case that it is about.

Kept for the last two versions, so that what the last step brought can be told without asking the
engine. It is good as long as the program, its knowledge and its learned shares are the same.
"""

import json
import zlib
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed

from sqlalchemy import delete
from sqlalchemy.orm import Session

from api import strict_json
from api.cases.case import CaseDiagnosis
from api.store.models import DiagnosisRow


def made_with(knowledge_version: str) -> str:
    """Return what an answer depends on beside the case: the program and its knowledge."""
    try:
        program = installed("threewire")
    except PackageNotFoundError:  # run from its sources
        program = "uninstalled"
    return f"{program} {knowledge_version}"


def keep(session: Session, order: int, version: int, found: CaseDiagnosis) -> None:
    """Keep a diagnosis, and throw away those before the last version."""
    if found.answer is None:
        return
    body = zlib.compress(strict_json.dumps(found.to_dict()).encode())
    used = made_with(found.answer["knowledge_version"])
    session.merge(DiagnosisRow(case_order=order, version=version, made_with=used, body=body))
    mine = DiagnosisRow.case_order == order
    session.execute(delete(DiagnosisRow).where(mine, DiagnosisRow.version < version - 1))


def kept(session: Session, order: int, version: int, with_: str) -> CaseDiagnosis | None:
    """Return the diagnosis of a version, unless there is none made ``with_`` the same."""
    row = session.get(DiagnosisRow, (order, version))
    if row is None or row.made_with != with_:
        return None
    return CaseDiagnosis.of(json.loads(zlib.decompress(row.body)))
