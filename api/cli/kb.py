"""``threewire kb``: look at the knowledge base, check it, and add to it."""

import functools
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from marshmallow import ValidationError

from api import strict_json
from api.answers.text import Section, as_text
from api.cli.inputs import BadInput, Listed, knowledge_from, overlay_option, told
from api.curation import calls as call_marks
from api.curation import cases as running
from api.curation import facts, starters
from api.curation import matrix as tables
from api.curation.facts import shown_machines
from api.curation.reference import (
    formats_as_markdown,
    group_sections,
    page_sections,
)
from engine import Diagnoser, Knowledge
from engine.audit import audit
from engine.audit.separation import Survey
from engine.diagnosis import diagnoser_of
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.knowledge.load import inspect
from engine.knowledge.shapes import KEBAB
from engine.physics.machine import Machine


@dataclass(frozen=True)
class Chosen:
    """The base that was asked for, and the machines to look at."""

    knowledge: Knowledge
    survey: Survey
    machines: list[Machine]


def on_machines(one_coil: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return what adds the options; the command gets what they choose as its first argument.

    Without --coil both styles are chosen, or with ``one_coil`` the first.
    """

    coils = items.COILS[:1] if one_coil else items.COILS
    about = f"Coil style; {coils[0] if one_coil else 'both'} when left out."

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @click.option("--circuit", metavar="ID", help="One circuit; all of them when left out.")
        @click.option("--coil", type=click.Choice(items.COILS), help=about)
        @click.option("--volts", type=click.Choice([str(one) for one in items.SYSTEM_VOLTS]),
                      default=str(items.SYSTEM_VOLTS[0]), show_default=True,
                      help="System voltage.")  # fmt: skip
        @overlay_option
        @functools.wraps(command)
        def chosen(
            circuit: str | None, coil: str | None, volts: str, overlay: tuple[str, ...], **rest: Any
        ) -> None:
            knowledge = knowledge_from(overlay)
            if circuit and circuit not in knowledge.circuits:
                raise BadInput([unknown("circuit", circuit, knowledge.circuits)])
            circuits = [circuit] if circuit else []
            machines = shown_machines(knowledge, circuits, (coil,) if coil else coils, int(volts))
            command(Chosen(knowledge, Survey(diagnoser_of(knowledge)), machines), **rest)

        return chosen

    return decorate


@click.group()
def kb() -> None:
    """Look at the knowledge base, check it, and add to it.

    Everything works on the shipped base with your own folders laid over it (--kb).
    """


def _print(parts: Iterable[Section]) -> None:
    click.echo("\n".join(as_text(list(parts))).rstrip())


@kb.command()
def formats() -> None:
    """Print the keys of every kind of file, and of conditions and actions, as Markdown."""
    click.echo(formats_as_markdown(), nl=False)


@kb.command()
@overlay_option
def check(overlay: tuple[str, ...]) -> None:
    """Check the whole base; say nothing and exit with 0 when it is good.

    Every fault is told with its file and field: text, shape, ids that do not exist, causes that
    nothing confirms or tells apart, checks that separate nothing, steps without a caution.
    """
    faults, knowledge = inspect(overlay)
    if knowledge is not None:  # of what the loader does not refuse
        faults += [*audit(Diagnoser(knowledge)), *starters.unfilled(knowledge)]
    if faults:
        raise BadInput(str(fault) for fault in sorted(set(faults)))


@kb.command()
@click.argument("name", metavar="ID")
@click.option("--all", "whole", is_flag=True, help="Leave no row of a table out.")
@on_machines()
def show(chosen: Chosen, name: str, whole: bool) -> None:
    """Show a cause, check, rule, circuit or table as a page.

    What it predicts on each circuit, what it is taken for, and which rules speak of it.
    """
    shelves = {kind: facts.shelf(chosen.knowledge, kind) for kind in facts.KINDS}
    found = [kind for kind, there in shelves.items() if name in there]
    if not found:
        raise BadInput([unknown("id", name, [one for there in shelves.values() for one in there])])
    for kind in found:
        page = facts.page(chosen.survey, kind, name, chosen.machines)
        _print(page_sections(page, whole))


@kb.command()
@on_machines(one_coil=True)
def matrix(chosen: Chosen) -> None:
    """Show causes by checks: how many decibans each check tells a cause from a healthy circuit by.

    A table for each circuit asked for.
    """
    found = (tables.matrix(chosen.survey, machine) for machine in chosen.machines)
    click.echo("\n\n".join("\n".join(tables.as_text(one)) for one in found))


@kb.command()
@on_machines()
def groups(chosen: Chosen) -> None:
    """Show which causes no check, or no question by phone, tells apart.

    Each group with the checks that would, or the declared reason why none does.
    """
    _print(group_sections(chosen.survey, chosen.machines))
    click.echo()


def _kebab(_: click.Context, __: click.Parameter, name: str) -> str:
    try:
        KEBAB(name)
    except ValidationError as error:
        raise click.BadParameter(str(error)) from None
    return name


def _folder_or_none(
    context: click.Context, option: click.Parameter, name: str | None
) -> Path | str | None:
    """Return the folder named, which must be there; the empty word and None as they are."""
    return Path(_THERE.convert(name, option, context)) if name else name


_THERE = click.Path(exists=True, file_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)


@kb.command()
@click.argument("kind", metavar="cause|check|rule", type=Listed("kind", ("cause", "check", "rule")))
@click.argument("name", metavar="ID", callback=_kebab)
@click.option("--dir", "folder", type=_FOLDER, default=Path(),
              help="Your folder of knowledge; the current one when left out.")  # fmt: skip
@click.option("--family", default="traps", show_default=True, type=Listed("family", items.FAMILIES),
              metavar="TEXT", help="Family of a rule.")  # fmt: skip
@click.option("--reading", is_flag=True, help="A check that is measured, not asked or tried.")
@click.option("--cases", type=_FOLDER, help="Folder for a starter of the rule's cases.")
@overlay_option
def new(overlay: tuple[str, ...], **wanted: Any) -> None:
    """Write a commented starter for a new cause, check or rule.

    It passes 'kb check' once every FILL IN in it is replaced.
    """
    with told(starters.StarterError, OSError):
        lines = starters.add(knowledge_from(overlay), starters.NewItem(**wanted))
    click.echo("\n".join(lines))


@kb.command()
@click.option(
    "--cases", "folders", multiple=True, metavar="DIR", type=_THERE,
    help="Folder with case files; those of the checkout when left out. May be given again.",
)  # fmt: skip
@click.option(
    "--calls", is_flag=False, flag_value="", metavar="[DIR]", callback=_folder_or_none,
    help="Hold the answers to calls against a master's instead; DIR as for --cases.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="With --calls: every call and measure.")
@overlay_option
def cases(
    folders: tuple[Path, ...], calls: Path | str | None, as_json: bool, overlay: tuple[str, ...]
) -> None:
    """Run worked cases and rule cases; show which fail and which rules never fired.

    With --calls, show by group how near the answers come to what a master technician would sign.
    """
    if as_json and calls is None:
        raise click.UsageError("--json goes with --calls")
    shipped = running.shipped_folder()
    named = [*folders, calls] if isinstance(calls, Path) else [*folders]
    chosen = named or ([shipped] if shipped else [])
    if not chosen:
        raise BadInput(["there are no cases beside this installation: name a folder with --cases"])
    diagnoser = diagnoser_of(knowledge_from(overlay))
    found = running.read(chosen, diagnoser.knowledge)
    faults = _cases(diagnoser, found) if calls is None else _calls(diagnoser, found, as_json)
    if faults:
        raise BadInput(faults)


def _cases(diagnoser: Diagnoser, found: running.CaseFiles) -> list[str]:
    """Run rule and worked cases, print what came of them, and return the faults."""
    ran = running.run(diagnoser, found)
    silent = sorted(set(diagnoser.knowledge.rules) - ran.fired)
    click.echo(f"{ran.cases} cases, {len(ran.failures)} faults.")
    click.echo(f"Rules that never fired: {', '.join(silent) or 'none'}.")
    return ran.failures


def _calls(diagnoser: Diagnoser, found: running.CaseFiles, as_json: bool) -> list[str]:
    """Run the calls, print the measures, and return the faults."""
    tallied = call_marks.run(diagnoser, found.of(call_marks.CallCase).items())
    click.echo(strict_json.dumps(tallied.as_dict()) if as_json else "\n".join(tallied.table()))
    return [*found.faults, *tallied.faults]
