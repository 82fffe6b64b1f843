"""A case as a work order: one JSON document, one row of a table, one page to print."""

import csv
import io
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from api.answers.finding_words import result_of
from api.cases.wording import ended
from engine import Knowledge

DEFERS = (
    "An aid for qualified people. The machine maker's service manual, the site's lockout rules and "
    "local codes win where they differ from this sheet."
)
SHOWN_CAUSES = 3
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


def work_order(
    case: Mapping[str, Any], diagnosis: Mapping[str, Any], knowledge: Knowledge
) -> dict[str, Any]:
    """Return the work order of a case document and the engine's whole answer on it."""
    outcome = case["outcome"]
    return {
        **{name: case[name] for name in (*_HEAD, "version", "machine")},
        "findings": [_finding(one, knowledge) for one in case["findings"]],
        "causes": [_cause(one) for one in diagnosis["causes"][:SHOWN_CAUSES]],
        "next_checks": [
            {key: one[key] for key in ("check", "name", "say", "how", "minutes", "cautions")}
            for one in diagnosis["next_checks"][:1]
        ],
        "cautions": [one["text"] for one in diagnosis.get("cautions", ())],
        "outcome": outcome and {**outcome, "cause_name": ended(outcome["cause"], knowledge)},
        "knowledge_version": diagnosis.get("knowledge_version"),
        "defers": DEFERS,
    }


def _finding(one: Mapping[str, Any], knowledge: Knowledge) -> dict[str, Any]:
    check = knowledge.checks.get(one["check"])
    return {
        "place": one["place"],
        "check": one["check"],
        "name": check.name if check else one["check"],
        "side": one.get("side"),
        "found": result_of(one, knowledge),
        "note": one.get("note", ""),
        "by": one["by"],
        "at": one["at"],
        "withdrawn": one["withdrawn"],
    }


def _cause(one: Mapping[str, Any]) -> dict[str, Any]:
    keys = ("id", "name", "probability", "remedy", "proof_of_repair", "cautions")
    return {key: one[key] for key in keys}


def csv_text(order: Mapping[str, Any]) -> str:
    """Return the work order as a table of one row under its names (RFC 4180), safe to open.

    A cell that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    row = _row(order)
    writer.writerow([_safe(row[name]) for name in COLUMNS])
    return out.getvalue()


def _row(order: Mapping[str, Any]) -> dict[str, Any]:
    machine, outcome = order["machine"], order["outcome"] or {}
    causes, checks = order["causes"], order["next_checks"]
    return {
        **{name: order[name] for name in _HEAD},
        **{name: machine.get(name) for name in _MACHINE},
        "findings": "; ".join(_told(one) for one in order["findings"] if not one["withdrawn"]),
        "leading_cause": causes[0]["id"] if causes else None,
        "leading_percent": round(100 * causes[0]["probability"]) if causes else None,
        "next_check": checks[0]["check"] if checks else None,
        **{name: outcome.get(name) for name in _OUTCOME},
        "replaced": "; ".join(outcome.get("replaced", ())),
        "knowledge_version": order["knowledge_version"],
    }


def _told(finding: Mapping[str, Any]) -> str:
    side = f"{finding['side']} " if finding["side"] else ""
    return f"{side}{finding['check']} {finding['found']}"


def _safe(value: Any) -> str:
    text = "" if value is None else str(value)
    bare = text.lstrip(" \u00a0\ufeff")
    return f"'{text}" if bare.startswith(_FORMULA) and not isinstance(value, int) else text


def html_text(order: Mapping[str, Any]) -> str:
    """Return the work order as one page that prints, with its style inside."""
    page: str = _templates().get_template("work-order.html").render(order=order, style=stylesheet())
    return page


@lru_cache(maxsize=1)
def stylesheet() -> str:
    """Return the style of the printed page."""
    return (resources.files("api.cases") / "work-order.css").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("api.cases", ""), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
