"""Answers in words, for the list of answers and the work order."""

from collections.abc import Mapping
from typing import Any

from api.answers.finding_words import name_of, observed
from api.interview.desk import Desk
from api.interview.questions import question, settings
from api.interview.state import Entry


def entry_words(entry: Entry, fields: Mapping[str, Any], desk: Desk) -> str:
    """Return an answer as one line."""
    side = f" ({entry.side})" if entry.side else ""
    match entry.kind:
        case "machine":
            asked = settings().get(entry.key.replace("_", "-")) or question(entry.key, fields)
            return f"{asked.name}: {asked.words(entry.value)}"
        case "finding":
            return (
                f"{name_of(entry.value, desk.knowledge)}: {observed(entry.value, desk.knowledge)}"
            )
        case "skip":
            return f"{desk.name(entry.key)}{side}: skipped"
    said = {
        "agree": "repair chosen", "decline": "not taken", "reopen": "repair put off",
        "cured": "put right, and that cured it", "not-cured": "put right, complaint unchanged",
        "stop": "stopped here",
    }[entry.kind]  # fmt: skip
    return f"{desk.name(entry.key) if entry.key else 'Interview'}{side}: {said}"
