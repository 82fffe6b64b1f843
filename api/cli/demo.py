"""``threewire demo`` and ``threewire version``: what comes with the package."""

import click

from api import strict_json
from api.answers import demos
from api.answers.report import sections
from api.answers.text import WIDTH, Line
from api.cli.inputs import knowledge_option, show, write
from api.recordings import invented
from api.recordings.document import document
from api.recordings.document import sections as trace_sections
from api.version import version as installed_version
from engine import Knowledge
from engine.diagnosis import diagnoser_of
from engine.knowledge.faults import unknown


@click.command()
@click.argument("name", default=demos.DEFAULT)
@click.option("--list", "listing", is_flag=True, help="List the cases there are.")
@click.option("--request", "as_request", is_flag=True, help="Print the request, for diagnose -.")
@knowledge_option
def demo(name: str, listing: bool, as_request: bool, knowledge: Knowledge) -> None:
    """Show a worked case of an invented hire yard: NAME, or the first one."""
    there: list[demos.Demo | invented.InventedRecording] = [*demos.load_all()]
    known = {one.id: one for one in (*there, *invented.load_all())}
    if listing:
        click.echo("\n".join(f"{one.id:24} {one.title}" for one in known.values()))
        return
    if name not in known:
        raise click.BadParameter(unknown("demo", name, known), param_hint="NAME")
    chosen, engine = known[name], diagnoser_of(knowledge)
    if isinstance(chosen, demos.Demo) and as_request:
        write(strict_json.dumps(chosen.request))
        return
    for words in (chosen.title, "", chosen.story, ""):
        click.echo(Line(words).wrapped(WIDTH))
    if isinstance(chosen, demos.Demo):
        show(sections(engine.diagnose(chosen.request), knowledge))
    else:
        show(trace_sections(document(knowledge, invented.invent(engine, chosen))))


@click.command()
@knowledge_option
def version(knowledge: Knowledge) -> None:
    """Print the version of the program and of its knowledge."""
    click.echo(f"threewire {installed_version()}")
    click.echo(f"knowledge {knowledge.version}")
