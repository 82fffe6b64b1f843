"""``threewire demo`` and ``threewire version``: what comes with the package."""

import click

from api import strict_json
from api.answers import demos
from api.answers.report import print_report, print_text
from api.cli.inputs import knowledge_from, overlay_option, write
from api.cli.trace import show
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
@overlay_option
def demo(  # noqa: PLR0913, PLR0917 - the options of a command
    name: str, listing: bool, as_request: bool, as_json: bool, picture: str | None,
    overlay: tuple[str, ...],
) -> None:  # fmt: skip
    """Show a worked case of an invented hire yard: NAME, or the first one."""
    cases = {case.id: case for case in demos.load_all()}
    recordings = {one.id: one for one in invented.load_all()}
    if listing:
        listed: list[demos.Demo | invented.InventedRecording] = [*cases.values()]
        for one in (*listed, *recordings.values()):
            click.echo(f"{one.id:24} {one.title}")
        return
    if name in recordings:
        _show_recording(recordings[name], knowledge_from(overlay), picture, as_json or as_request)
        return
    if name not in cases:
        names = [*cases, *recordings]
        raise click.BadParameter(unknown("demo", name, names), param_hint="NAME")
    if as_request:
        write(strict_json.dumps(cases[name].request))
        return
    knowledge = knowledge_from(overlay)
    answer = diagnoser_of(knowledge).diagnose(cases[name].request)
    if as_json:
        write(strict_json.dumps(answer))
        return
    print_text([cases[name].title, "", cases[name].story, ""])
    print_report(answer, knowledge)


def _show_recording(
    one: invented.InventedRecording, knowledge: Knowledge, picture: str | None, as_json: bool
) -> None:
    """Make an invented recording and show what is read from it."""
    answer = document(knowledge, invented.invent(diagnoser_of(knowledge), one))
    if not as_json:
        print_text([one.title, "", one.story, ""])
    show(answer, picture, as_json, one.title)


@click.command()
@overlay_option
def version(overlay: tuple[str, ...]) -> None:
    """Print the version of the program and of its knowledge."""
    click.echo(f"threewire {installed_version()}")
    click.echo(f"knowledge {knowledge_from(overlay).version}")
