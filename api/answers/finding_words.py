"""A finding in words, the same at every door: the name of its check, what it showed, how."""

from api.strict_json import Json
from api.translation import N_, gettext
from engine import Knowledge

_NO_READING = {"not-known": N_("not known"), "open": N_("over range (open)")}
_PARTS = {"fitted": N_("plug on"), "removed": N_("plug off"), "body": N_("to the body"),
          "ground-pin": N_("to the ground pin"), "shaken": N_("while shaken"),
          "heated": N_("while hot"), "wetted": N_("while wet")}  # fmt: skip
_SIDES = {"left": N_("%(check)s (left)"), "right": N_("%(check)s (right)")}


def name_of(finding: Json, knowledge: Knowledge) -> str:
    """Return the name of a finding's check, with its side; its id where it is not known here."""
    known = knowledge.checks.get(finding["check"])
    name = known.name if known else finding["check"]
    return gettext(_SIDES[finding["side"]], check=name) if finding.get("side") else name


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
    if outcome in said:
        return said[outcome]
    return gettext(_NO_READING[outcome]) if outcome in _NO_READING else str(outcome)


def observed(finding: Json, knowledge: Knowledge) -> str:
    """Return what a finding showed, and in brackets how it was taken."""
    how = remarks(finding)
    said = result_of(finding, knowledge)
    return f"{said} ({', '.join(how)})" if how else said


def remarks(finding: Json) -> list[str]:
    """Return how a finding was taken: what brought the fault on meanwhile, plug, point, leads,
    heat, moment, note, circumstances."""
    keys = ("while", "plug", "measured_to")
    found = [gettext(_PARTS[finding[key]]) for key in keys if key in finding]
    if "lead_ohms" in finding:
        leads = finding["lead_ohms"]
        said = gettext("leads %(ohms)g ohm", ohms=leads) if leads else gettext("leads zeroed")
        found.append(said)
    if "celsius" in finding:
        found.append(gettext("at %(celsius)g C", celsius=finding["celsius"]))
    found += [finding[key] for key in ("moment", "note") if key in finding]
    return found + list(finding.get("circumstances", ()))
