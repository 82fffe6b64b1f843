"""``threewire version``."""

import click

from api.cli.inputs import knowledge_from, overlay_option
from api.web.openapi import version as installed_version


@click.command()
@overlay_option
def version(overlay: tuple[str, ...]) -> None:
    """Print the version of the program and of its knowledge."""
    click.echo(f"threewire {installed_version()}")
    click.echo(f"knowledge {knowledge_from(overlay).version}")
