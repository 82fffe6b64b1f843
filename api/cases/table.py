"""Cases as a table (CSV, RFC 4180): a row a case, safe to open in a spreadsheet."""

import csv
import io
import unicodedata
from collections.abc import Iterable, Iterator
from typing import Any

from api.answers.finding_words import result_of
from api.cases.case import Case, CaseFinding
from api.strict_json import Json
from engine import Knowledge

# Spreadsheets run a cell that starts with one of these, or with its full-width twin.
_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
_HEAD = (
    "number", "state", "opened_at", "opened_by", "changed_at", "fleet_number", "machine_type",
    "reference", "handed_to", "complaint",
)  # fmt: skip
_MACHINE = ("duty", "control", "coil", "system_volts")
_OUTCOME = ("cause", "replaced", "minutes", "note")
COLUMNS = (*_HEAD, *_MACHINE, "findings", "leading_cause", "leading_percent", "next_check",
           *_OUTCOME, "knowledge_version")  # fmt: skip


def table(cases: Iterable[Case], knowledge: Knowledge) -> Iterator[str]:
    """Give the line of names, then a line for each case, with the diagnosis that it keeps."""
    yield _line(COLUMNS)
    for case in cases:
        row = _row(case, case.leading or {}, knowledge)
        yield _line(row[name] for name in COLUMNS)


def _row(case: Case, said: Json, knowledge: Knowledge) -> Json:
    shown = case.to_dict()
    outcome: Json = shown["outcome"] or {}
    cause: Json = next(iter(said.get("causes", ())), {})
    return {
        **{name: shown[name] for name in _HEAD},
        **{name: case.machine.get(name) for name in _MACHINE},
        "findings": "; ".join(_told(one, knowledge) for one in case.counted),
        "leading_cause": cause.get("id"),
        "leading_percent": round(100 * cause["probability"]) if cause else None,
        "next_check": (said.get("next_check") or {}).get("check"),
        **{name: outcome.get(name) for name in _OUTCOME},
        "replaced": "; ".join(outcome.get("replaced", ())),
        "knowledge_version": said.get("knowledge_version"),
    }


def _told(finding: CaseFinding, knowledge: Knowledge) -> str:
    side = f"{finding.side} " if finding.side else ""
    return f"{side}{finding.check} {result_of(finding.body, knowledge)}"


def _line(cells: Iterable[Any]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow([_safe(one) for one in cells])
    return out.getvalue()


def _safe(value: Any) -> str:
    """Return a cell; what a spreadsheet would take for a formula gets an apostrophe in front."""
    text = "" if value is None else str(value)
    bare = next((one for one in text if not _passed_over(one)), "")
    return f"'{text}" if bare in _FORMULA and bare and not isinstance(value, int) else text


def _passed_over(sign: str) -> bool:
    """Return whether a program may look behind a leading sign: blanks, quotes, separators."""
    return sign in "\"';," or unicodedata.category(sign) in ("Zs", "Zl", "Zp", "Cf")
