"""The generated reference: an HTML page for each item, from templates, with relative links.

Items and the causes that nothing tells apart are shown as text, too.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, get_args

import yaml
from jinja2 import Environment
from markupsafe import Markup, escape

from api.answers import text
from api.answers.text import Section, sections_of
from api.curation.facts import KINDS, Page, cell, page, shelf, shown_machines, title_of
from engine.audit.groups import AlikeGroup, Level, groups
from engine.audit.separation import Survey
from engine.knowledge import Knowledge, items
from engine.knowledge.formats import formats
from engine.physics.machine import Machine

_IDS = re.compile(r"(?<!['\w-])([a-z0-9]+(?:-[a-z0-9]+)*)(?!['\w-])")
# the same text ten times as fast, where LibYAML is there
_Dumper: type[yaml.SafeDumper] = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
# what a long list is divided by
PARTS: Mapping[str, tuple[str, Sequence[str]]] = {
    "causes": ("section", items.SECTIONS),
    "checks": ("kind", items.KINDS),
    "rules": ("family", items.FAMILIES),
}


@dataclass(frozen=True)
class Site:
    """What every page needs: where it stands among the others, and what there is."""

    knowledge: Knowledge
    root: str = ""

    kinds = KINDS

    @property
    def home(self) -> str:
        """Return the relative address of the index."""
        return self.root or "./"

    def has(self, kind: str, name: str) -> bool:
        """Return whether there is such an item."""
        return kind in KINDS and name in shelf(self.knowledge, kind)

    def href(self, kind: str, name: str) -> str:
        """Return the relative address of an item's page."""
        return f"{self.root}{kind}/{name}.html"

    def title(self, kind: str, name: str) -> str:
        """Return what an item is called."""
        return title_of(shelf(self.knowledge, kind)[name])

    def linked(self, words: str) -> Markup:
        """Return a text as HTML, in which the ids of causes and checks lead to their pages."""
        link = Markup('<a href="{}">{}</a>')
        pieces = []
        for piece in _IDS.split(words):
            kind = next((one for one in ("causes", "checks") if self.has(one, piece)), None)
            pieces.append(link.format(self.href(kind, piece), piece) if kind else escape(piece))
        return Markup("").join(pieces)


def as_yaml(data: object, width: int = 96) -> str:
    """Return an item's data, or a part of it, as YAML."""
    return str(yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=width,
                         default_flow_style=None))  # fmt: skip


@cache
def templates() -> Environment:
    """Return the templates of the pages, in HTML and as text."""
    made = text.templates("api.curation", "templates")
    made.globals["cell"] = cell
    made.filters["as_yaml"] = as_yaml
    return made


def stylesheet() -> str:
    """Return the style sheet of the reference."""
    file = resources.files("api.curation").joinpath("reference.css")
    return file.read_text(encoding="utf-8")


def render_page(survey: Survey, site: Site, kind: str, name: str) -> str:
    """Return the page of an item. Raises KeyError when there is none."""
    if not site.has(kind, name):
        raise KeyError(name)
    shown = page(survey, kind, name)
    return templates().get_template(f"reference/{kind}.html").render(site=site, page=shown)


def page_sections(page: Page) -> list[Section]:
    """Return a page in sections of text."""
    return sections_of(templates().get_template("text/page.txt").render(page=page))


def render_index(site: Site, words: str = "", only: str = "") -> str:
    """Return the list of all items that have every one of some words, of one kind if it is named.

    Words are looked for in ids, titles and prose, in lower case.
    """
    wanted = words.lower().split()
    shelves: dict[str, dict[str, list[tuple[str, str]]]] = {}
    for kind in [only] if only else KINDS:
        field, order = PARTS.get(kind, ("", ("",)))
        for item in shelf(site.knowledge, kind).values():
            prose = f"{item.id} {item.id.replace('-', ' ')} {item.raw}".lower() if wanted else ""
            if all(word in prose for word in wanted):
                parts = shelves.setdefault(kind, {part: [] for part in order})
                parts[getattr(item, field, "")].append((item.id, title_of(item)))
    shelves = {
        kind: {part: rows for part, rows in parts.items() if rows}
        for kind, parts in shelves.items()
    }
    total = sum(len(found) for parts in shelves.values() for found in parts.values())
    template = templates().get_template("reference/index.html")
    return template.render(site=site, shelves=shelves, words=words, only=only, total=total)


def render_groups(survey: Survey, site: Site) -> str:
    """Return the page of causes that look alike."""
    shown = _groups_shown(survey, shown_machines(survey.knowledge))
    return templates().get_template("reference/groups.html").render(shown, site=site)


def group_sections(survey: Survey, machines: Sequence[Machine]) -> list[Section]:
    """Return the causes that look alike as text, a section a level and circuit."""
    shown = _groups_shown(survey, machines)
    return sections_of(templates().get_template("text/groups.txt").render(shown))


def _groups_shown(survey: Survey, machines: Sequence[Machine]) -> dict[str, Any]:
    """Return the groups by level and circuit, and how many coil styles were looked at."""
    found: dict[Level, dict[str, list[AlikeGroup]]] = {level: {} for level in get_args(Level)}
    for level, by_circuit in found.items():
        for one in groups(survey, level, machines):
            by_circuit.setdefault(one.circuit, []).append(one)
    return {"levels": found, "coils": len({one.coil for one in machines})}


def formats_as_markdown() -> str:
    """Return a section for each kind of file and for each form of condition and action."""
    return templates().get_template("text/formats.md").render(formats=formats())
