"""Answers in words, for the list of answers and the work order."""

from collections.abc import Mapping
from typing import Any

from api.interview.desk import Desk
from api.interview.questions import question, settings
from api.interview.state import Entry

_PARTS = {"fitted": "plug on", "removed": "plug off", "body": "to the body",
          "ground-pin": "to the ground pin"}  # fmt: skip


def entry_words(entry: Entry, fields: Mapping[str, Any], desk: Desk) -> str:
    """Return an answer as one line."""
    side = f" ({entry.side})" if entry.side else ""
    match entry.kind:
        case "machine":
            asked = settings().get(entry.key.replace("_", "-")) or question(entry.key, fields)
            return f"{asked.name}: {asked.words(entry.value)}"
        case "finding":
            return f"{finding_name(entry.value, desk)}: {observed(entry.value, desk)}"
        case "skip":
            return f"{desk.name(entry.key)}{side}: skipped"
    said = {
        "agree": "repair chosen", "decline": "not taken", "reopen": "repair put off",
        "cured": "put right, and that cured it", "not-cured": "put right, complaint unchanged",
        "stop": "stopped here",
    }[entry.kind]  # fmt: skip
    return f"{desk.name(entry.key) if entry.key else 'Interview'}{side}: {said}"


def finding_name(finding: Mapping[str, Any], desk: Desk) -> str:
    """Return the name of a finding's check, with its side."""
    side = f" ({finding['side']})" if finding.get("side") else ""
    return f"{desk.name(finding['check'])}{side}"


def observed(finding: Mapping[str, Any], desk: Desk) -> str:
    """Return what was found, and how it was taken."""
    check = desk.knowledge.checks[finding["check"]]
    outcome = finding.get("outcome")
    if outcome == "not-known":
        said = "not known"
    elif outcome == "open":
        said = "over range (open)"
    elif outcome is not None and check.outcomes is not None:
        said = check.outcomes.words.get(outcome, str(outcome))
    else:
        said = f"{finding['value']:g} {finding['unit']}"
    remarks = _remarks(finding)
    return f"{said} ({', '.join(remarks)})" if remarks else said


def _remarks(finding: Mapping[str, Any]) -> list[str]:
    found = [_PARTS[finding[key]] for key in ("plug", "measured_to") if key in finding]
    if "lead_ohms" in finding:
        leads = finding["lead_ohms"]
        found.append(f"leads {leads:g} ohm" if leads else "leads zeroed")
    if "celsius" in finding:
        found.append(f"at {finding['celsius']:g} C")
    found += [finding[key] for key in ("moment", "note") if key in finding]
    return found + list(finding.get("circumstances", ()))
