"""Commented starters for new causes, checks and rules, and for the cases of a rule."""

import re
import string
from collections.abc import Mapping
from importlib import resources
from pathlib import Path

from engine.knowledge import Fault, Knowledge
from engine.knowledge.faults import nearest

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


class StarterError(Exception):
    """A starter that may not be written; the message says why."""


def add(  # noqa: PLR0913 - what the command takes
    knowledge: Knowledge, kind: str, name: str, *, folder: Path, family: str, reading: bool,
    cases: Path | None,
) -> list[str]:  # fmt: skip
    """Write the starter of a new item, and one for a rule's cases where ``cases`` names a folder.

    ``kind`` is one of KINDS. Returns what to tell. Raises StarterError for an id that exists or a
    file that is there, and OSError.
    """
    known = getattr(knowledge, f"{kind}s")
    if name in known:
        raise StarterError(
            f"the {kind} '{name}' is there already, in {known[name].file}: to change it, put a "
            "file of the same name into your folder"
        )
    inside = f"rules/{family}" if kind == "rule" else f"{kind}s"
    file, words = folder / inside / f"{name}.yaml", {"id": name, "family": family}
    _write(file, "reading" if kind == "check" and reading else kind, words)
    lines = [f"{file}: replace every FILL IN, then run threewire kb check --kb {folder}"]
    if near := nearest(name, known):
        lines.append(f"The nearest {kind} there is{near}: threewire kb show shows it.")
    if kind == "rule" and cases is not None:
        _write(cases / f"{name}.yaml", "case", words)
        lines.append(f"{cases / name}.yaml: its cases; run threewire kb cases --cases {cases}")
    return lines


def _write(file: Path, template: str, words: Mapping[str, str]) -> None:
    """Write a starter to a new file, and the folders it stands in."""
    source = resources.files("api.curation").joinpath("starters", f"{template}.yaml")
    text = string.Template(source.read_text(encoding="utf-8"))
    file.parent.mkdir(parents=True, exist_ok=True)
    try:
        with file.open("x", encoding="utf-8") as stream:
            stream.write(text.substitute(words, then=_THEN[words["family"]]))
    except FileExistsError:
        raise StarterError(f"{file}: is there already") from None


def unfilled(knowledge: Knowledge) -> list[Fault]:
    """Return a fault for each key of an item in which a starter was not filled in."""
    return [
        Fault(f"{item.file}: {key}", "still says FILL IN")
        for kind in (knowledge.causes, knowledge.checks, knowledge.rules)
        for item in kind.values()
        for key, value in item.raw.items() if FILL.search(repr(value))
    ]  # fmt: skip
