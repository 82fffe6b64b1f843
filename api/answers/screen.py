"""The report on a screen: boxes on a terminal, plain lines anywhere else."""

from collections.abc import Sequence

import click
from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from api.answers.report import sections
from api.answers.text import WIDTH, Line, Section, as_text
from api.strict_json import Json
from engine import Knowledge


def print_report(answer: Json, knowledge: Knowledge) -> None:
    """Print the report of an answer on standard output."""
    parts = sections(answer, knowledge)
    console = _console()
    if console.is_terminal:
        console.print(*(as_box(part) for part in parts), sep="\n")
    else:
        click.echo("\n".join(as_text(parts)))


def print_text(paragraphs: Sequence[str]) -> None:
    """Print paragraphs, broken as the report is."""
    console = _console()
    width = min(WIDTH, console.width) if console.is_terminal else WIDTH
    for paragraph in paragraphs:
        click.echo(Line(paragraph).wrapped(width))


def _console() -> Console:
    """Return a console that lays out and does not colour."""
    return Console(no_color=True, highlight=False, markup=False, emoji=False, soft_wrap=False)


def as_box(part: Section) -> RenderableType:
    """Return a section for a terminal: what has to be seen at once is boxed."""
    body = Group(*(_row(line) for line in part.lines))
    if part.first_screen:
        heavy = box.HEAVY if part.title.endswith("Stop first") else box.ROUNDED
        return Panel(body, title=Text(part.title, style="bold"), title_align="left", box=heavy)
    return Padding(Group(Text(part.title, style="bold underline"), body), (0, 1, 1, 1))


def _row(line: Line) -> RenderableType:
    """Return one line with its lead hanging before it."""
    grid = Table.grid(padding=(0, 1))
    if line.lead:
        grid.add_column(no_wrap=True)
        grid.add_column(ratio=1)
        grid.add_row(Text(line.lead, style="bold"), Text(line.text))
    else:
        grid.add_column(ratio=1)
        grid.add_row(Text(line.text))
    return Padding(grid, (0, 0, 0, 3 * line.indent))
