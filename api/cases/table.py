"""Cases as a table (CSV, RFC 4180): a row a case, safe to open in a spreadsheet."""

import csv
import io
import unicodedata
from collections.abc import Iterable, Iterator
from typing import Any

from api.answers.finding_words import result_of
from api.cases.case import Case
from api.strict_json import Json
from engine import Knowledge

# Spreadsheets run a cell that starts with one of these, or with its full-width twin.
_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
_BLANK = ("Zs", "Zl", "Zp", "Cf")
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
    told = [(one.side, one.check, result_of(one.body, knowledge)) for one in case.counted]
    return {
        **{name: shown[name] for name in _HEAD},
        **{name: case.machine.get(name) for name in _MACHINE},
        "findings": "; ".join(" ".join(filter(None, one)) for one in told),
        "leading_cause": cause.get("id"),
        "leading_percent": round(100 * cause["probability"]) if cause else None,
        "next_check": (said.get("next_check") or {}).get("check"),
        **{name: outcome.get(name) for name in _OUTCOME},
        "replaced": "; ".join(outcome.get("replaced", ())),
        "knowledge_version": said.get("knowledge_version"),
    }


def _line(cells: Iterable[Any]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow([_safe(one) for one in cells])
    return out.getvalue()


def _safe(value: Any) -> str:
    """Return a cell; what a spreadsheet would take for a formula gets an apostrophe in front.

    A program may look behind leading blanks, quotes and separators.
    """
    text = "" if value is None else str(value)
    passed = (one in "\"';," or unicodedata.category(one) in _BLANK for one in text)
    bare = next((one for one, over in zip(text, passed, strict=True) if not over), None)
    return f"'{text}" if bare in _FORMULA and not isinstance(value, int) else text
