"""Commented starters for new causes, checks and rules, and for the cases of a rule."""

import re
import string
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from engine.knowledge import Fault, Knowledge, items
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


@dataclass(frozen=True)
class NewItem:
    """What is to be added (a kind of KINDS), and where; ``cases`` is a folder for a rule's."""

    kind: str
    name: str
    folder: Path
    family: str
    reading: bool
    cases: Path | None

    @property
    def file(self) -> Path:
        """Return where it stands in the folder."""
        inside = f"rules/{self.family}" if self.kind == "rule" else f"{self.kind}s"
        return self.folder / inside / f"{self.name}.yaml"

    @property
    def template(self) -> str:
        """Return the name of its starter."""
        return "reading" if self.kind == "check" and self.reading else self.kind


def add(knowledge: Knowledge, wanted: NewItem) -> list[str]:
    """Write the starter, and one for its cases where they are wanted; return what to tell.

    Raises StarterError for an id that exists or a file that is there, and OSError.
    """
    known = getattr(knowledge, f"{wanted.kind}s")
    if wanted.name in known:
        raise StarterError(
            f"the {wanted.kind} '{wanted.name}' is there already, in {known[wanted.name].file}: to "
            "change it, put a file of the same name into your folder"
        )
    _write(wanted.file, wanted.template, wanted)
    check = f"threewire kb check --kb {wanted.folder}"
    lines = [f"{wanted.file}: replace every FILL IN, then run {check}"]
    if near := nearest(wanted.name, known):
        lines.append(f"The nearest {wanted.kind} there is{near}: threewire kb show shows it.")
    if wanted.kind == "rule" and wanted.cases is not None:
        cases = wanted.cases / f"{wanted.name}.yaml"
        _write(cases, "case", wanted)
        lines.append(f"{cases}: its cases; run threewire kb cases --cases {wanted.cases}")
    return lines


def _write(file: Path, template: str, wanted: NewItem) -> None:
    """Write a starter to a new file, and the folders it stands in."""
    source = resources.files("api.curation").joinpath("starters", f"{template}.yaml")
    text = string.Template(source.read_text(encoding="utf-8"))
    file.parent.mkdir(parents=True, exist_ok=True)
    try:
        with file.open("x", encoding="utf-8") as stream:
            stream.write(text.substitute(
                id=wanted.name, family=wanted.family, then=_THEN[wanted.family]
            ))  # fmt: skip
    except FileExistsError:
        raise StarterError(f"{file}: is there already") from None


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
