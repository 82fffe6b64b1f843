"""``threewire demo`` and ``threewire version``: what comes with the package."""

import click

from api import strict_json
from api.answers import demos
from api.answers.screen import print_report, print_text
from api.cli.inputs import knowledge_from, overlay_option, write
from api.version import version as installed_version
from engine.diagnosis import diagnoser_of
from engine.knowledge.faults import unknown


@click.command()
@click.argument("name", default=demos.DEFAULT)
@click.option("--list", "listing", is_flag=True, help="List the cases there are.")
@click.option("--request", "as_request", is_flag=True, help="Print the request, for diagnose -.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, on one line.")
@overlay_option
def demo(
    name: str, listing: bool, as_request: bool, as_json: bool, overlay: tuple[str, ...]
) -> None:
    """Show a worked case of an invented hire yard: NAME, or the first one."""
    cases = {case.id: case for case in demos.load_all()}
    if listing:
        for case in cases.values():
            click.echo(f"{case.id:24} {case.title}")
        return
    if name not in cases:
        raise click.BadParameter(unknown("demo", name, cases), param_hint="NAME")
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


@click.command()
@overlay_option
def version(overlay: tuple[str, ...]) -> None:
    """Print the version of the program and of its knowledge."""
    click.echo(f"threewire {installed_version()}")
    click.echo(f"knowledge {knowledge_from(overlay).version}")
