"""The command line ``threewire``: its commands stand in ``COMMANDS``, with where they are.

Exit status: 0 done, 1 bad input, 2 bad usage, 70 a fault in threewire itself. Never a traceback.
"""

import importlib
import os
import sys
from typing import Any, cast

import click

from api.version import version

# name -> where in this room its click command is, and what --help says of it without loading it: a
# module is loaded only when its command is asked for (a test holds the words to the commands' own)
COMMANDS: dict[str, tuple[str, str]] = {
    "diagnose": ("diagnose:diagnose", "Diagnose the machine that FILE tells of."),
    "draw": ("diagnose:draw", "Draw the circuit of the machine that FILE tells of."),
    "ask": ("ask:ask", "Find the cause in an interview, from the complaint to a work order."),
    "hear": ("ask:hear", "Say what a caller's words (TEXT) may mean."),
    "demo": ("demo:demo", "Show a worked case of an invented hire yard: NAME, or the first one."),
    "kb": ("kb:kb", "Look at the knowledge base, check it, and add to it."),
    "sum": ("sums:sums", "Work a bench sum: current, feed, fuse, heat, margin, pins, meter."),
    "trace": ("trace:trace", "Read a recording of the pull: what it tells, and what it cannot."),
    "serve": ("serve:serve", "Serve the HTTP interface; see /openapi.json there."),
    "mcp": ("serve:mcp", "Serve three tools to an assistant (Model Context Protocol)."),
    "db": ("db:db", "Set up, bring up to date and look at the store of cases."),
    "keys": ("admin:keys", "Make, list and revoke the keys that callers of the service need."),
    "events": ("admin:events", "Where events are sent to."),
    "replay": ("db:replay", "What today's knowledge base says of each closed case."),
    "version": ("demo:version", "Print the version of the program and of its knowledge."),
}


class Lazy(click.Command):
    """A command of ``COMMANDS`` that is loaded when it is asked for."""

    def load(self) -> click.Command:
        """Return the command itself."""
        module, _, attribute = COMMANDS[self.name or ""][0].partition(":")
        found = getattr(importlib.import_module(f"api.cli.{module}"), attribute)
        return cast(click.Command, found)

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None,
        **extra: Any,
    ) -> click.Context:  # fmt: skip
        """Return the context of the command itself, so that this is what runs."""
        return self.load().make_context(info_name, args, parent, **extra)


@click.group(
    commands=[Lazy(name, short_help=about) for name, (_, about) in COMMANDS.items()],
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(version(), message="threewire %(version)s")
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
