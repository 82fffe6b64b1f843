"""The reference of the formats follows from the declarations that read the files."""

from collections.abc import Iterator
from typing import Any

import pytest

from engine.knowledge import Knowledge, items
from engine.knowledge.formats import Format, formats

FORMATS = {one.name: one for one in formats()}


def paths(value: Any, path: str = "") -> Iterator[str]:
    """Yield the path of every key in plain data, as the reference writes it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield f"{path}{key}"
            yield from paths(inner, f"{path}{key}.")
    elif isinstance(value, list):
        for inner in value:
            yield from paths(inner, f"{path.removesuffix('.')}[].")


@pytest.mark.parametrize("name", ["Cause", "Check", "Circuit", "Rule", "Table", "Words"])
def test_every_key_of_a_shipped_file_is_in_the_reference(name: str, knowledge: Knowledge) -> None:
    """No file holds a key that the reference does not name, but inside what is free or named."""
    known = {one.path: one.kind for one in FORMATS[name].fields}
    free = {path for path, kind in known.items() if kind in ("mapping", "list", "nodebystyle",
                                                             "number or range")}  # fmt: skip
    shelf: dict[str, dict[str, items.Item]] = {
        "Cause": dict(knowledge.causes), "Check": dict(knowledge.checks),
        "Circuit": dict(knowledge.circuits), "Rule": dict(knowledge.rules),
        "Table": dict(knowledge.tables), "Words": dict(knowledge.words),
    }  # fmt: skip
    for item in shelf[name].values():
        for path in paths(item.raw):
            inside = any(path.startswith((f"{one}.", f"{one}[].")) for one in free)
            assert path in known or inside, f"{item.file}: {path}"


@pytest.mark.parametrize("one", FORMATS.values(), ids=lambda one: one.name)
def test_every_key_has_words(one: Format) -> None:
    """Each kind of file and each key says what it is; closed sets are listed."""
    assert one.words.endswith(".")
    assert one.fields
    assert all(field.words for field in one.fields)


def test_a_closed_set_is_listed() -> None:
    """The reference of a cause lists its sections, and which keys must be there."""
    section = next(one for one in FORMATS["Cause"].fields if one.path == "section")
    assert (section.known, section.required) == (items.SECTIONS, True)
