"""Texts in the language of who reads them; English where there is no catalogue.

A text stands in English where it is used, inside ``gettext`` (in templates ``_`` or ``trans``, in
a table ``N_``), whole and with named placeholders. Only the desk asks for a language, for the time
of a request: every other door says the same bytes to everybody. What the knowledge and the engine's
answers say is data, in the language of the knowledge.
"""

import gettext as catalogues
from collections.abc import Iterator
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO

from engine.knowledge.text import load_yaml

DOMAIN = "threewire"
FOLDER = Path(__file__).with_name("translations")
ENGLISH = "en"
SHOWN = ("name", "ask", "why", "unsure", "words", "title", "next")  # texts of a row in a YAML file

_ENGLISH = catalogues.NullTranslations()
_reader = ContextVar[catalogues.NullTranslations]("reader", default=_ENGLISH)


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Return the languages there are: English, and those with a catalogue."""
    found = FOLDER.glob(f"*/LC_MESSAGES/{DOMAIN}.mo")
    return (ENGLISH, *sorted(one.parent.parent.name for one in found))


@lru_cache(maxsize=8)
def catalogue(language: str) -> catalogues.NullTranslations:
    """Return the texts of a language; of English those that stand in the program."""
    return catalogues.translation(DOMAIN, FOLDER, [language], fallback=True)


def reader() -> catalogues.NullTranslations:
    """Return the texts of whoever reads now."""
    return _reader.get()


def speak(language: str | None) -> None:
    """Say all that follows in a language, until told otherwise; None is the program's own."""
    _reader.set(catalogue(language) if language else _ENGLISH)


def gettext(text: str, **values: object) -> str:
    """Return a text in the reader's language, its placeholders ``%(name)s`` filled."""
    said = reader().gettext(text)
    return said % values if values else said


def ngettext(one: str, more: str, num: int, **values: object) -> str:
    """Return the text for a number of things, which stands at ``%(num)d``."""
    return reader().ngettext(one, more, num) % {"num": num, **values}


def N_(text: str) -> str:  # noqa: N802 - as translators know it
    """Mark a text that ``gettext`` is given later, where it is shown."""
    return text


def yaml_texts(
    file: BinaryIO, keywords: object, comment_tags: object, options: object
) -> Iterator[tuple[int, str, str, list[str]]]:
    """Give pybabel the texts of a YAML file, which ``gettext`` is given where they are shown."""
    for text in _texts_in(load_yaml(file.read().decode(), "texts")):
        yield 1, "gettext", text, []


def _texts_in(row: Any) -> Iterator[str]:
    for key, value in row.items() if isinstance(row, dict) else enumerate(row):
        if isinstance(value, dict | list):
            yield from _texts_in(value)
        elif key in SHOWN and isinstance(value, str):
            yield value
