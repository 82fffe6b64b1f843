"""What a step did, as a sentence for the other person on the case."""

from collections.abc import Mapping
from typing import Any

from api.answers.finding_words import name_of, remarks, result_of
from api.cases.edits import NOT_A_CAUSE
from api.translation import N_, gettext
from engine import Knowledge
from engine.answer.words import listed

_FIELDS = {
    "fleet_number": "the fleet number", "machine_type": "the machine type",
    "reference": "the reference", "complaint": "the complaint", "handed_to": "who has the case",
    "caller_name": "who calls", "caller_phone": "the caller's phone",
    "caller_place": "where it stands", "call_back_at": "when to call back",
    "machine": "the machine", "on_hand": "what is on hand", "excluded": "what was put right",
    "done": "what was put right between", "skill": "who does the steps",
    "limit": "how many causes are shown",
}  # fmt: skip
_ENDS = {**NOT_A_CAUSE, "unknown": N_("the cause was not found")}
_SHOWN = 3


def words(kind: str, by: str, body: Mapping[str, Any], knowledge: Knowledge) -> str:
    """Return a step as one sentence."""
    because = body.get("because", "").strip().rstrip(".")
    match kind:
        case "opened":
            count = len(body["findings"])
            told = f" with {count} finding{'' if count == 1 else 's'}" if count else ""
            did = f"opened the case{told}"
        case "finding-added":
            did = _added(body, knowledge)
        case "finding-withdrawn":
            did = f"withdrew finding {body['place']} ({_told(body['finding'], knowledge)})"
        case "changed":
            did = f"changed {listed([_FIELDS[name] for name in body['fields']])}"
        case "closed":
            did = f"closed the case: {ended(body['outcome']['cause'], knowledge)}"
        case _:
            did = "reopened the case"
    return f"{by} {did}{', because: ' if because else ''}{because}."


def ended(cause: str, knowledge: Knowledge) -> str:
    """Return how a case ended, as the end of a sentence."""
    found = knowledge.causes.get(cause)
    return found.name if found else gettext(_ENDS.get(cause, cause))


def _added(body: Mapping[str, Any], knowledge: Knowledge) -> str:
    found = body["findings"]
    told = [f"finding {one['place']} ({_told(one, knowledge)})" for one in found[:_SHOWN]]
    if len(found) > _SHOWN:
        told.append(f"{len(found) - _SHOWN} more")
    instead = f" for finding {body['replaces']}" if "replaces" in body else ""
    return f"{'restored' if body.get('restored') else 'added'} {listed(told)}{instead}"


def _told(finding: Mapping[str, Any], knowledge: Knowledge) -> str:
    """Return a finding as check and result, as in ``Pull current: 3.1 A, while shaken``."""
    how = remarks({"while": finding["while"]}) if "while" in finding else []
    return f"{name_of(finding, knowledge)}: {', '.join([result_of(finding, knowledge), *how])}"
