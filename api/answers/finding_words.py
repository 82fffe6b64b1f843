"""A finding in words, the same at every door: the name of its check, what it showed, how."""

from api.strict_json import Json
from engine import Knowledge

_NO_READING = {"not-known": "not known", "open": "over range (open)"}
_PARTS = {"fitted": "plug on", "removed": "plug off", "body": "to the body",
          "ground-pin": "to the ground pin", "shaken": "while shaken", "heated": "while hot",
          "wetted": "while wet"}  # fmt: skip


def name_of(finding: Json, knowledge: Knowledge) -> str:
    """Return the name of a finding's check, with its side; its id where it is not known here."""
    check = knowledge.checks.get(finding["check"])
    side = f" ({finding['side']})" if finding.get("side") else ""
    return f"{check.name if check else finding['check']}{side}"


def named(wanted: str, knowledge: Knowledge) -> str:
    """Return the name of a check or cause; its id in words where it is not known here."""
    known = knowledge.checks.get(wanted) or knowledge.causes.get(wanted)
    return known.name if known else wanted.replace("-", " ")


def result_of(finding: Json, knowledge: Knowledge) -> str:
    """Return what a finding showed, without the name of its check."""
    if "value" in finding:
        return f"{finding['value']:g} {finding.get('unit', '')}".rstrip()
    check, outcome = knowledge.checks.get(finding["check"]), finding.get("outcome", "")
    said = check.outcomes.words if check and check.outcomes else {}
    return str(said.get(outcome) or _NO_READING.get(outcome, outcome))


def observed(finding: Json, knowledge: Knowledge) -> str:
    """Return what a finding showed, and in brackets how it was taken."""
    how = remarks(finding)
    said = result_of(finding, knowledge)
    return f"{said} ({', '.join(how)})" if how else said


def remarks(finding: Json) -> list[str]:
    """Return how a finding was taken: what brought the fault on meanwhile, plug, point, leads,
    heat, moment, note, circumstances."""
    found = [_PARTS[finding[key]] for key in ("while", "plug", "measured_to") if key in finding]
    if "lead_ohms" in finding:
        leads = finding["lead_ohms"]
        found.append(f"leads {leads:g} ohm" if leads else "leads zeroed")
    if "celsius" in finding:
        found.append(f"at {finding['celsius']:g} C")
    found += [finding[key] for key in ("moment", "note") if key in finding]
    return found + list(finding.get("circumstances", ()))
