"""``threewire kb``: look at the knowledge base, check it, and add to it."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from marshmallow import ValidationError

from api import strict_json
from api.cli.inputs import BadInput, knowledge_option, overlay_option, show, told
from api.curation import calls as call_marks
from api.curation import cases as running
from api.curation import facts, predictions, starters
from api.curation.facts import shown_machines
from api.curation.reference import formats_as_markdown, group_sections, page_sections
from engine import Diagnoser, Knowledge
from engine.audit import audit
from engine.audit.separation import Survey
from engine.diagnosis import diagnoser_of
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.knowledge.load import inspect
from engine.knowledge.shapes import KEBAB
from engine.physics.machine import Machine

circuit_option = click.option(
    "--circuit", metavar="ID", help="One circuit; all of them when left out."
)


def _surveyed(
    knowledge: Knowledge, circuit: str | None, coils: Sequence[str] = items.COILS
) -> tuple[Survey, list[Machine]]:
    """Return a survey of the base, and its machines with the circuit that is named, or with any."""
    if circuit and circuit not in knowledge.circuits:
        raise BadInput([unknown("circuit", circuit, knowledge.circuits)])
    machines = shown_machines(knowledge, [circuit] if circuit else [], coils)
    return Survey(diagnoser_of(knowledge)), machines


@click.group()
def kb() -> None:
    """Look at the knowledge base, check it, and add to it.

    Everything works on the shipped base with your own folders laid over it (--kb).
    """


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


@kb.command("show")
@click.argument("name", metavar="ID")
@circuit_option
@knowledge_option
def show_item(name: str, circuit: str | None, knowledge: Knowledge) -> None:
    """Show a cause, check, rule, circuit or table as a page.

    What it predicts on each circuit, what it is taken for, and which rules speak of it.
    """
    survey, machines = _surveyed(knowledge, circuit)
    shelves = {kind: facts.shelf(knowledge, kind) for kind in facts.KINDS}
    found = [kind for kind, there in shelves.items() if name in there]
    if not found:
        raise BadInput([unknown("id", name, [one for there in shelves.values() for one in there])])
    for kind in found:
        show(page_sections(facts.page(survey, kind, name, machines)))


@kb.command()
@circuit_option
@knowledge_option
def matrix(circuit: str | None, knowledge: Knowledge) -> None:
    """Show causes by checks: how many decibans each check tells a cause from a healthy circuit by.

    A table for each circuit asked for.
    """
    survey, machines = _surveyed(knowledge, circuit, items.COILS[:1])
    click.echo("\n\n".join(predictions.matrix(survey, machine) for machine in machines))


@kb.command()
@circuit_option
@knowledge_option
def groups(circuit: str | None, knowledge: Knowledge) -> None:
    """Show which causes no check, or no question by phone, tells apart.

    Each group with the checks that would, or the declared reason why none does.
    """
    show(group_sections(*_surveyed(knowledge, circuit)))


def _kebab(_: click.Context, __: click.Parameter, name: str) -> str:
    try:
        KEBAB(name)
    except ValidationError as error:
        raise click.BadParameter(str(error)) from None
    return name


_THERE = click.Path(exists=True, file_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)


@kb.command()
@click.argument("kind", metavar="cause|check|rule", type=click.Choice(starters.KINDS))
@click.argument("name", metavar="ID", callback=_kebab)
@click.option("--dir", "folder", type=_FOLDER, default=Path(),
              help="Your folder of knowledge; the current one when left out.")  # fmt: skip
@click.option("--family", default="traps", show_default=True, type=click.Choice(items.FAMILIES),
              metavar="TEXT", help="Family of a rule.")  # fmt: skip
@click.option("--reading", is_flag=True, help="A check that is measured, not asked or tried.")
@click.option("--cases", type=_FOLDER, help="Folder for a starter of the rule's cases.")
@knowledge_option
@told(starters.StarterError, OSError)
def new(knowledge: Knowledge, **wanted: Any) -> None:
    """Write a commented starter for a new cause, check or rule.

    It passes 'kb check' once every FILL IN in it is replaced.
    """
    click.echo("\n".join(starters.add(knowledge, **wanted)))


@kb.command()
@click.option(
    "--cases", "folders", multiple=True, metavar="DIR", type=_THERE,
    help="Folder with case files; those of the checkout when left out. May be given again.",
)  # fmt: skip
@click.option(
    "--calls", is_flag=False, flag_value=str(running.shipped_folder()), metavar="[DIR]",
    type=_THERE, help="Hold the answers to calls against a master's instead; DIR as for --cases.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="With --calls: every call and measure.")
@knowledge_option
def cases(
    folders: tuple[Path, ...], calls: Path | None, as_json: bool, knowledge: Knowledge
) -> None:
    """Run worked cases and rule cases; show which fail and which rules never fired.

    With --calls, show by group how near the answers come to what a master technician would sign.
    """
    if as_json and calls is None:
        raise click.UsageError("--json goes with --calls")
    named = (*folders, calls) if folders or calls else (running.shipped_folder(),)
    chosen = [one for one in named if one]
    if not chosen:
        raise BadInput(["there are no cases beside this installation: name a folder with --cases"])
    found, diagnoser = running.read(chosen, knowledge), diagnoser_of(knowledge)
    if calls is None:
        ran = running.run(diagnoser, found)
        faults = ran.failures
        silent = ", ".join(sorted(set(knowledge.rules) - ran.fired)) or "none"
        click.echo(f"{ran.cases} cases, {len(faults)} faults.\nRules that never fired: {silent}.")
    else:
        tallied = call_marks.run(diagnoser, found.of(call_marks.CallCase))
        faults = [*found.faults, *tallied.faults]
        click.echo(strict_json.dumps(tallied.as_dict()) if as_json else "\n".join(tallied.table()))
    if faults:
        raise BadInput(faults)
