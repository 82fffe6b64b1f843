"""``threewire mcp``: the three tools for assistants, over standard input and output."""

import click

from api.cli.inputs import BadInput, knowledge_from, overlay_option

MISSING = (
    "the SDK of the Model Context Protocol is missing: install threewire with its extra 'mcp', "
    "in a checkout: pip install '.[mcp]'"
)


@click.command()
@overlay_option
def mcp(overlay: tuple[str, ...]) -> None:
    """Serve three tools to an assistant (Model Context Protocol, standard input and output).

    They are diagnose, next_check and look_up. The assistant's program starts this command and ends
    it by closing standard input. What closed cases taught a service is not known here.
    """
    from engine.diagnosis import diagnoser_of

    try:
        from api.assistants.stdio import serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] in ("mcp", "mcp_types", "anyio"):
            raise BadInput([MISSING]) from None
        raise
    serve(diagnoser_of(knowledge_from(overlay)))
