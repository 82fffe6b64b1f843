"""The desk's own texts in the language of who reads them; English where there is no catalogue.

A text stands in English where it is used, inside ``gettext`` (in templates ``_`` or ``trans``),
whole and with named placeholders. What the knowledge and the engine say is not the desk's.
"""

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO

from babel.support import NullTranslations, Translations
from flask import g, request
from jinja2 import Environment

from engine.knowledge.text import load_yaml

DOMAIN = "desk"
FOLDER = Path(__file__).with_name("translations")
ENGLISH = "en"


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Return the languages that the desk speaks: English, and those with a catalogue."""
    found = FOLDER.glob(f"*/LC_MESSAGES/{DOMAIN}.mo")
    return (ENGLISH, *sorted(one.parent.parent.name for one in found))


@lru_cache(maxsize=8)
def catalogue(language: str) -> NullTranslations:
    """Return the texts of a language; of English those that stand in the program."""
    return Translations.load(FOLDER, [language], DOMAIN)


def language() -> str:
    """Return the language of this request: what its browser likes best of those there are."""
    return request.accept_languages.best_match(languages()) or ENGLISH


def gettext(text: str, **values: object) -> str:
    """Return a text in the reader's language, its placeholders ``%(name)s`` filled."""
    said = _texts().gettext(text)
    return said % values if values else said


def ngettext(one: str, more: str, num: int, **values: object) -> str:
    """Return the text for a number of things, which stands at ``%(num)d``."""
    return _texts().ngettext(one, more, num) % {"num": num, **values}


def set_up(environment: Environment) -> None:
    """Let templates mark their texts: ``_("...")`` and ``{% trans %}``, blanks made one."""
    environment.policies["ext.i18n.trimmed"] = True
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(  # type: ignore[attr-defined]  # the extension brings it
        lambda text: _texts().gettext(text),
        lambda one, more, num: _texts().ngettext(one, more, num), newstyle=True,
    )  # fmt: skip


def stops(
    file: BinaryIO, keywords: object, comment_tags: object, options: object
) -> Iterator[tuple[int, str, str, list[str]]]:
    """Give pybabel the texts of ``stops.yaml``, which are marked where they are shown."""
    for row in load_yaml(file.read().decode(), "stops.yaml").values():
        for text in row.values():
            yield 1, "gettext", text, []


def _texts() -> NullTranslations:
    """Return the catalogue of this request, looked up once; English outside of one."""
    try:  # a page asks a hundred times: one look is enough
        found: NullTranslations = g.desk_texts
    except AttributeError:
        found = g.desk_texts = catalogue(language())
    except RuntimeError:
        return catalogue(ENGLISH)
    return found
