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
    return f"{by} {_SAY[kind](body, knowledge)}."


def ended(cause: str, knowledge: Knowledge) -> str:
    """Return how a case ended, as the end of a sentence."""
    found = knowledge.causes.get(cause)
    return found.name if found else gettext(_ENDS.get(cause, cause))


def _told(finding: Mapping[str, Any], knowledge: Knowledge) -> str:
    """Return a finding as check and result, as in ``Pull current: 3.1 A, while shaken``."""
    how = remarks({"while": finding["while"]}) if "while" in finding else []
    return f"{name_of(finding, knowledge)}: {', '.join([result_of(finding, knowledge), *how])}"


def _because(body: Mapping[str, Any]) -> str:
    return f", because: {body['because'].strip()}".rstrip(".") if body["because"].strip() else ""


def _opened(body: Mapping[str, Any], _: Knowledge) -> str:
    count = len(body["findings"])
    if not count:
        return "opened the case"
    return f"opened the case with {count} finding{'' if count == 1 else 's'}"


def _added(body: Mapping[str, Any], knowledge: Knowledge) -> str:
    found = body["findings"]
    told = [f"finding {one['place']} ({_told(one, knowledge)})" for one in found[:_SHOWN]]
    if len(found) > _SHOWN:
        told.append(f"{len(found) - _SHOWN} more")
    instead = f" for finding {body['replaces']}" if "replaces" in body else ""
    return f"{'restored' if body.get('restored') else 'added'} {listed(told)}{instead}"


def _withdrawn(body: Mapping[str, Any], knowledge: Knowledge) -> str:
    told = _told(body["finding"], knowledge)
    return f"withdrew finding {body['place']} ({told}){_because(body)}"


def _changed(body: Mapping[str, Any], _: Knowledge) -> str:
    return f"changed {listed([_FIELDS[name] for name in body['fields']])}"


def _closed(body: Mapping[str, Any], knowledge: Knowledge) -> str:
    return f"closed the case: {ended(body['outcome']['cause'], knowledge)}"


def _reopened(body: Mapping[str, Any], _: Knowledge) -> str:
    return f"reopened the case{_because(body)}"


_SAY = {
    "opened": _opened, "finding-added": _added, "finding-withdrawn": _withdrawn,
    "changed": _changed, "closed": _closed, "reopened": _reopened,
}  # fmt: skip
