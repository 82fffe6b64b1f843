"""Commented starters for new causes, checks and rules, and for the cases of a rule."""

import re
import string
from importlib import resources
from pathlib import Path

from engine.knowledge import Fault, Knowledge, items

FILL = re.compile(r"FILL[ -]IN")
KINDS = ("cause", "check", "rule")
# What a rule of each family does first of all; the other actions are in DEVELOPERS.md.
_THEN = {
    "scope": "  - {drop_checks: [FILL-IN]}    # or drop_causes: [..], or out_of_scope: true",
    "traps": "  - {set_aside: FILL-IN}        # or {weaken: CHECK, keep: 0.3}",
    "context": "  - {shift: {FILL-IN: 2}}       # prior odds of a cause times this",
    "proofs": "  - {clears: [FILL-IN]}         # causes that the finding proves absent",
    "chains": "  - {look_behind: FILL-IN, roots: [FILL-IN], before_replacing: [FILL-IN]}",
    "cautions": "  - {caution: true}             # because: the danger, why, what to do",
}


def folder_of(kind: str, family: str) -> str:
    """Return the folder inside a base in which an item of the kind stands."""
    return f"rules/{family}" if kind == "rule" else f"{kind}s"


def starter(kind: str, name: str, family: str = "traps", reading: bool = False) -> str:
    """Return the text of a starter; ``kind`` is cause, check, rule or case."""
    template = "reading" if kind == "check" and reading else kind
    file = resources.files("api.curation").joinpath("starters", f"{template}.yaml")
    text = string.Template(file.read_text(encoding="utf-8"))
    return text.substitute(id=name, family=family, then=_THEN[family])


def write(file: Path, text: str) -> None:
    """Write a new file and the folders it stands in. Raises FileExistsError, OSError."""
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("x", encoding="utf-8") as stream:
        stream.write(text)


def unfilled(knowledge: Knowledge) -> list[Fault]:
    """Return a fault for each place in which a starter was not filled in."""
    kinds = (knowledge.causes, knowledge.checks, knowledge.rules)
    return [
        Fault(f"{item.file}: {path}", "still says FILL IN")
        for kind in kinds
        for item in kind.values()
        for path in _places(item)
    ]


def _places(item: items.Item) -> list[str]:
    """Return the keys of an item below which the mark still stands."""
    return [key for key, value in item.raw.items() if FILL.search(repr(value))]
