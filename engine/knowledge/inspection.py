"""Every fault of a base at once, also those that a file with a worse fault would hide.

The loader stops at the first layer of checking that finds anything. Here the files at fault are
left out, where they are a shop's own, and the rest is loaded again until it loads.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from engine.knowledge.faults import Code, Fault, KnowledgeError
from engine.knowledge.load import Knowledge, load_knowledge


@dataclass(frozen=True)
class Inspection:
    """The faults found by the loader, and what loads without the files at fault, if anything."""

    faults: list[Fault]
    knowledge: Knowledge | None
    left_out: frozenset[str]


def inspect(overlays: Sequence[Path | str] = ()) -> Inspection:
    """Load the shipped base with ``overlays`` over it; return every fault instead of raising.

    What only follows from a fault reported already (an id that is unknown because its file cannot
    be read) is not reported again. ``knowledge`` is None where a shipped file is at fault.
    """
    faults: list[Fault] = []
    left_out: set[str] = set()
    while True:
        try:
            knowledge = load_knowledge(overlays, left_out)
        except KnowledgeError as error:
            faults += [one for one in error.faults if not _follows(one, left_out)]
            files = {one.file for one in error.faults}
            if not all(_is_own(one, overlays) for one in files) or not files - left_out:
                return Inspection(sorted(set(faults)), None, frozenset(left_out))
            left_out |= files
        else:
            return Inspection(sorted(set(faults)), knowledge, frozenset(left_out))


def _is_own(file: str, overlays: Iterable[Path | str]) -> bool:
    """Return whether a file, named as faults name it, stands in one of a shop's own folders."""
    label, _, rest = file.partition("/")
    return any(
        Path(folder).name == label and rest and (Path(folder) / rest).exists()
        for folder in overlays
    )


def _follows(fault: Fault, left_out: Iterable[str]) -> bool:
    """Return whether a fault only says that what stands in a file left out is not there."""
    if fault.code is not Code.UNKNOWN_IDENTIFIER:
        return False
    kind, name = fault.about
    if kind == "conclusion":
        return any("/rules/" in file for file in left_out)
    return any(Path(file).stem in (name, name.split("/")[0]) for file in left_out)
