"""``threewire draw``: the circuit of one machine as SVG, with what its diagnosis says."""

from typing import cast

import click

from api.cli.inputs import BadInput, answered, knowledge_from, overlay_option, read, write
from api.drawing import SHAPES, Shape, in_full, svg
from api.strict_json import Json


@click.command()
@click.argument("file", metavar="FILE|-")
@click.option("--shape", type=click.Choice(SHAPES), default="wide", show_default=True,
              help="For a desk or a sheet of paper (wide), or for a phone (tall).")  # fmt: skip
@click.option("-o", "--output", metavar="FILE", help="Write it there, not on standard output.")
@click.option("--side", type=click.Choice(["left", "right"]), help="Which of two brake solenoids.")
@overlay_option
def draw(
    file: str, shape: Shape, output: str | None, side: str | None, overlay: tuple[str, ...]
) -> None:
    """Draw the circuit of the machine that FILE (JSON or YAML) tells of; - is standard input.

    FILE is what threewire diagnose takes. The drawing (SVG) shows what is proven good, what is
    suspected, what was read, and where to put the meter next. Exit status 1 when the request is
    bad or the drawing cannot be written.
    """
    knowledge = knowledge_from(overlay)
    source = read(file)
    request = cast(Json, in_full(source.request()))
    answer = answered(knowledge, source, request)
    if side is not None and side not in answer.get("sides", {}):
        raise BadInput([f"--side {side}: no finding in {source.name} is of that side"])
    write(svg(knowledge, request, answer, shape=shape, side=side) + "\n", output)
