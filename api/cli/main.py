"""The command line ``threewire``: one module a command, all registered in ``COMMANDS``.

Exit status: 0 done, 1 bad input, 2 bad usage, 70 a fault in threewire itself. Never a traceback.
"""

import importlib
import os
import sys
from typing import Any, cast

import click

from api.version import version

# name -> where its click command is, and what --help says of it without loading it: a module is
# loaded only when its command is asked for (a test holds the words to the commands' own)
COMMANDS: dict[str, tuple[str, str]] = {
    "diagnose": ("api.cli.diagnose:diagnose",
                 "Diagnose the machine that FILE (JSON or YAML) tells of; - is standard input."),
    "draw": ("api.cli.draw:draw",
             "Draw the circuit of the machine that FILE (JSON or YAML) tells of; - is standard "
             "input."),
    "ask": ("api.cli.ask:ask",
            "Find the cause in an interview, from the complaint to a work order."),
    "hear": ("api.cli.hear:hear_text",
             "Say what a caller's words (TEXT) may mean; nothing is taken before you confirm "
             "it."),
    "demo": ("api.cli.demo:demo",
             "Show a worked case of an invented hire yard: NAME, or the first one."),
    "kb": ("api.cli.kb:kb", "Look at the knowledge base, check it, and add to it."),
    "sum": ("api.cli.sums:sums",
            "Work a bench sum: current, feed, fuse, heat, margin, pins, meter."),
    "trace": ("api.cli.trace:trace",
              "Read a recording of the pull: what it tells, and what it cannot."),
    "serve": ("api.cli.serve:serve", "Serve the HTTP interface; see /openapi.json there."),
    "mcp": ("api.cli.mcp:mcp",
            "Serve three tools to an assistant (Model Context Protocol, standard input and "
            "output)."),
    "db": ("api.cli.db:db", "Set up, bring up to date and look at the store of cases."),
    "keys": ("api.cli.keys:keys",
             "Make, list and revoke the keys that callers of the service need."),
    "events": ("api.cli.events:events", "Where events are sent to."),
    "replay": ("api.cli.replay:replay",
               "What today's knowledge base says of each closed case, beside what was said at "
               "its closing."),
    "version": ("api.cli.demo:version", "Print the version of the program and of its knowledge."),
}  # fmt: skip


class CommandTable(click.Group):
    """A group whose commands stand in ``COMMANDS``."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one command, or return None for a name that is not in the table."""
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name][0].partition(":")
        return cast(click.Command, getattr(importlib.import_module(module), attribute))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, so that --help is quick."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest command for one that does not exist."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            from engine.knowledge.faults import unknown

            raise click.UsageError(unknown("command", args[0], COMMANDS), ctx) from None


def _tell_version(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked:
        click.echo(f"threewire {version()}")
        ctx.exit()


@click.group(cls=CommandTable, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_tell_version,
    help="Print the version of the program.",
)  # fmt: skip
def threewire() -> None:
    """Why a three-wire pull/hold solenoid circuit does not do its job.

    Ranked causes, the evidence for each, and the check to do next. An aid for qualified people:
    the machine maker's service manual, lockout rules and local codes win over it.
    """


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit; see the module for the exit status."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure:  # a terminal that cannot show a sign shows '?', not a traceback
            reconfigure(errors="replace")
    try:
        threewire.main(arguments, prog_name="threewire")
    except Exception as error:
        if os.environ.get("THREEWIRE_DEBUG"):
            raise
        name = type(error).__name__
        click.echo(
            f"threewire: a fault in threewire itself ({name}); nothing you typed is to blame.\n"
            "Set THREEWIRE_DEBUG=1 and run it again to see where.",
            err=True,
        )
        sys.exit(70)
