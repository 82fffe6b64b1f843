"""The one place that reads files: kb/ as shipped, and a shop's own directories laid over it."""

import importlib.resources
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from engine.knowledge import items
from engine.knowledge.faults import Code, Fault, KnowledgeError, in_file, unknown
from engine.knowledge.text import load_yaml

FOLDERS = (
    "circuits", "causes", "checks", "tables", "words", *(f"rules/{one}" for one in items.FAMILIES),
)  # fmt: skip
SWITCHED_OFF = "switched-off.yaml"


@dataclass(frozen=True)
class Source:
    """One file of knowledge: its content, and the name that errors call it by."""

    name: str
    folder: str
    text: str

    @cached_property
    def kind(self) -> str:
        """Return the kind of item, of ``items.KINDS_OF_FILE``."""
        return self.folder.split("/", maxsplit=1)[0]

    @cached_property
    def stem(self) -> str:
        """Return the name without folder and ending."""
        return Path(self.name).stem


def _walk(root: Path) -> Iterator[Source]:
    """Yield every YAML file below the known folders, in a fixed order."""
    for folder in FOLDERS:
        place = root / folder
        for entry in sorted(place.iterdir()) if place.is_dir() else ():
            if entry.suffix in (".yaml", ".yml"):
                name = f"{root.name}/{folder}/{entry.name}"
                yield Source(name, folder, entry.read_text(encoding="utf-8"))


def _stray(root: Path) -> Iterator[Fault]:
    """Yield a fault for each folder of a directory that the knowledge base does not have."""
    known = {folder.split("/", maxsplit=1)[0] for folder in FOLDERS}
    for entry in sorted(root.iterdir()):
        if entry.is_dir() and entry.name not in known and not entry.name.startswith((".", "_")):
            yield in_file(f"{root.name}/{entry.name}", "", unknown("folder", entry.name, known))


def read_sources(
    overlays: Sequence[Path] = (), left_out: Collection[str] = ()
) -> tuple[list[Source], dict[str, Any], list[Fault]]:
    """Return the files in force, what overlays switch off by kind, and faults of the directories.

    A file of a later directory replaces the one of the same folder and stem. Files named in
    ``left_out`` are passed over, as if they were not there.
    Raises KnowledgeError when a directory does not exist or a file is not UTF-8 text.
    """
    chosen: dict[tuple[str, str], Source] = {}
    off: dict[str, Any] = {}
    faults: list[Fault] = []
    for root in (Path(str(importlib.resources.files("kb"))), *overlays):
        if not root.is_dir():
            message = "is not a directory of knowledge files"
            raise KnowledgeError([in_file(str(root), "", message, Code.UNREADABLE)])
        faults += [fault for fault in _stray(root) if fault.file not in left_out]
        try:
            for source in _walk(root):
                if source.name not in left_out:
                    chosen[source.kind, source.stem] = source
            name, listed = f"{root.name}/{SWITCHED_OFF}", root / SWITCHED_OFF
            if listed.is_file() and name not in left_out:
                off[name] = load_yaml(listed.read_text(encoding="utf-8"), name)
        except (UnicodeDecodeError, OSError) as error:
            fault = in_file(root.name, "", f"cannot be read: {error}", Code.UNREADABLE)
            raise KnowledgeError([fault]) from error
    return [chosen[key] for key in sorted(chosen)], off, faults
