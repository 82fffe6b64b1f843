"""Lines and sections of a report, how numbers are put into words, and what templates need."""

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from api.answers.conclusions import hundredths
from api.translation import N_, gettext

WIDTH = 88
_LEAD = re.compile(r"(?:[-+!]|\[ \]|\d{1,2}\.) ")
_BREAKS = re.compile(r"\s*[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]\s*")  # where splitlines() parts
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

# least probability -> how a person would say it
_SURENESS = (
    (0.97, N_("as good as certain, %(chance)s")), (0.8, N_("very likely, %(chance)s")),
    (0.6, N_("likely, %(chance)s")), (0.4, N_("about as likely as not, %(chance)s")),
    (0.15, N_("possible, %(chance)s")), (0.03, N_("unlikely, %(chance)s")),
    (0.0, N_("very unlikely, %(chance)s")),
)  # fmt: skip
# least weight in decibans -> how much a finding says; 10 is odds of ten to one
_WEIGHTS = (
    (20.0, N_("very strong")), (10.0, N_("strong")), (5.0, N_("fair")), (2.0, N_("slight")),
    (0.0, N_("hardly any")),
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """A sentence or two; ``lead`` hangs before the first line, such as '1.'."""

    text: str
    lead: str = ""
    indent: int = 0

    def wrapped(self, width: int) -> str:
        """Return the line broken to ``width`` characters, its further lines under its text."""
        margin = " " * (3 * self.indent)
        lead = f"{self.lead} " if self.lead else ""
        return textwrap.fill(
            self.text,
            width,
            initial_indent=margin + lead,
            subsequent_indent=margin + " " * len(lead),
            break_long_words=False,
            break_on_hyphens=False,
        )


@dataclass(frozen=True)
class Section:
    """A titled part of the report."""

    title: str
    lines: list[Line] = field(default_factory=list)


def as_text(parts: Sequence[Section], width: int = WIDTH) -> list[str]:
    """Return the sections as plain lines of text that need no colour."""
    lines: list[str] = []
    for part in parts:
        lines += [part.title.upper(), "-" * len(part.title)]
        lines += [row for line in part.lines for row in line.wrapped(width).split("\n")]
        lines.append("")
    return lines


def sections_of(text: str) -> list[Section]:
    """Return the sections that a template wrote; those without lines are left out.

    ``# `` begins a section; a sign, an empty box, or a number with a point at the start of a line
    hangs before it; two spaces are a step inward.
    """
    found: list[Section] = []
    for row in text.splitlines():
        if row.startswith("# "):
            found.append(Section(row[2:]))
        elif row.strip():
            words = row.lstrip(" ")
            lead = _LEAD.match(words)
            start = lead.end() if lead else 0
            indent = (len(row) - len(words)) // 2
            found[-1].lines.append(Line(words[start:].strip(), words[:start].strip(), indent))
    return [section for section in found if section.lines]


def sureness(probability: float) -> str:
    """Return a probability in words and in hundredths: 'very likely, 83 in 100'."""
    words = next(words for least, words in _SURENESS if probability >= least)
    return gettext(words, chance=hundredths(probability))


def weighs(weight_db: float) -> str:
    """Return how much a finding says, in words: 'strong'."""
    return gettext(next(words for least, words in _WEIGHTS if abs(weight_db) >= least))


def strength(weight_db: float) -> str:
    """Return how much a finding says, in words and decibans."""
    return f"{weighs(weight_db)}, {weight_db:+.1f} dB"


@cache
def templates(package: str, folder: str, one_line: bool = False) -> Environment:
    """Return the templates of a folder of a package; HTML and SVG are escaped.

    With ``one_line`` a text that is put in has no line ends.
    """

    def flat(value: Any) -> Any:
        return _BREAKS.sub(" ", value) if isinstance(value, str) else value

    return Environment(
        loader=PackageLoader(package, folder), autoescape=select_autoescape(("html", "svg")),
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        finalize=flat if one_line else None,
    )  # fmt: skip


def xml_text(text: str) -> str:
    """Return a text without what XML cannot carry (control characters, half pairs)."""
    return _NO_XML.sub(" ", text)
