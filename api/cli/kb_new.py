"""``kb new``: where a starter goes, and what stands in its way."""

from dataclasses import dataclass
from pathlib import Path

import click
from marshmallow import ValidationError

from api.cli.inputs import BadInput
from api.curation import starters
from engine import Knowledge
from engine.knowledge import items
from engine.knowledge.faults import nearest, unknown
from engine.knowledge.shapes import KEBAB


@dataclass(frozen=True)
class NewItem:
    """What is to be added, and where."""

    kind: str
    name: str
    folder: Path
    family: str
    reading: bool
    cases: Path | None


def add(knowledge: Knowledge, wanted: NewItem) -> list[str]:
    """Write the starter, and one for its cases where they are wanted; return what to tell.

    Raises click.BadParameter for a kind, family or id of the wrong form, and BadInput for an id
    that exists.
    """
    _refuse_form(wanted)
    known = getattr(knowledge, f"{wanted.kind}s")
    if wanted.name in known:
        raise BadInput([
            f"the {wanted.kind} '{wanted.name}' is there already, in {known[wanted.name].file}: to "
            "change it, put a file of the same name into your folder"
        ])  # fmt: skip
    file = wanted.folder / starters.folder_of(wanted.kind, wanted.family) / f"{wanted.name}.yaml"
    text = starters.starter(wanted.kind, wanted.name, wanted.family, wanted.reading)
    _write(file, text)
    lines = [f"{file}: replace every FILL IN, then run threewire kb check --kb {wanted.folder}"]
    near = nearest(wanted.name, known)
    if near:
        lines.append(f"The nearest {wanted.kind} there is{near}: threewire kb show shows it.")
    if wanted.kind == "rule" and wanted.cases is not None:
        cases = wanted.cases / f"{wanted.name}.yaml"
        _write(cases, starters.starter("case", wanted.name))
        lines.append(f"{cases}: its cases; run threewire kb cases --cases {wanted.cases}")
    return lines


def _refuse_form(wanted: NewItem) -> None:
    """Raise click.BadParameter for a kind, family or id that cannot be."""
    if wanted.kind not in starters.KINDS:
        raise click.BadParameter(unknown("kind", wanted.kind, starters.KINDS), param_hint="KIND")
    if wanted.family not in items.FAMILIES:
        message = unknown("family", wanted.family, items.FAMILIES)
        raise click.BadParameter(message, param_hint="--family")
    try:
        KEBAB(wanted.name)
    except ValidationError as error:
        raise click.BadParameter(str(error), param_hint="ID") from None


def _write(file: Path, text: str) -> None:
    try:
        starters.write(file, text)
    except FileExistsError:
        raise BadInput([f"{file}: is there already"]) from None
    except OSError as error:
        raise BadInput([f"{file}: {error.strerror}"]) from None
