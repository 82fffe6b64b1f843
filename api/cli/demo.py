"""``threewire demo`` and ``threewire version``: what comes with the package."""

import click

from api import strict_json
from api.answers import demos
from api.answers.report import sections
from api.answers.text import Line
from api.cli.inputs import knowledge_option, show, write
from api.cli.trace import show_trace
from api.recordings import invented
from api.recordings.document import document
from api.version import version as installed_version
from engine import Knowledge
from engine.diagnosis import diagnoser_of
from engine.knowledge.faults import unknown


@click.command()
@click.argument("name", default=demos.DEFAULT)
@click.option("--list", "listing", is_flag=True, help="List the cases there are.")
@click.option("--request", "as_request", is_flag=True, help="Print the request, for diagnose -.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, on one line.")
@click.option("--plot", "picture", metavar="FILE", type=click.Path(dir_okay=False),
              help="Draw a recording of the demo into FILE (SVG).")  # fmt: skip
@knowledge_option
def demo(  # noqa: PLR0913, PLR0917 - the options of a command
    name: str, listing: bool, as_request: bool, as_json: bool, picture: str | None,
    knowledge: Knowledge,
) -> None:  # fmt: skip
    """Show a worked case of an invented hire yard: NAME, or the first one."""
    there: list[demos.Demo | invented.InventedRecording] = [*demos.load_all()]
    known = {one.id: one for one in (*there, *invented.load_all())}
    if listing:
        click.echo("\n".join(f"{one.id:24} {one.title}" for one in known.values()))
        return
    if name not in known:
        raise click.BadParameter(unknown("demo", name, known), param_hint="NAME")
    chosen, engine = known[name], diagnoser_of(knowledge)
    if not (as_request or as_json):
        for words in (chosen.title, "", chosen.story, ""):
            click.echo(Line(words).wrapped(88))
    if isinstance(chosen, invented.InventedRecording):
        recorded = document(knowledge, invented.invent(engine, chosen))
        show_trace(recorded, picture, as_json or as_request, chosen.title)
    elif as_request or as_json:
        write(strict_json.dumps(chosen.request if as_request else engine.diagnose(chosen.request)))
    else:
        show(sections(engine.diagnose(chosen.request), knowledge))


@click.command()
@knowledge_option
def version(knowledge: Knowledge) -> None:
    """Print the version of the program and of its knowledge."""
    click.echo(f"threewire {installed_version()}")
    click.echo(f"knowledge {knowledge.version}")
