"""``threewire serve``: the HTTP service on a production server."""

import json
from collections.abc import Callable
from typing import Any, TypeVar

import click

from api.settings import SETTINGS, SettingEntry, SettingError, Settings, load

_Command = TypeVar("_Command", bound=Callable[..., Any])


class _Value(click.ParamType):  # type: ignore[type-arg,unused-ignore]  # newer click's is generic
    """A flag that is read as its setting is read from everywhere else."""

    def __init__(self, setting: SettingEntry) -> None:
        self.name = "value"
        self._setting = setting

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> object:
        """Return the value; bad usage, with what is wrong, when the setting does not take it."""
        try:
            return self._setting.read(value)
        except SettingError as fault:
            self.fail(f"'{value}': {fault}", param, ctx)


def shown(name: str, value: Any) -> str:
    """Return a setting's value as TOML has it, without the password of a URL."""
    from api.logs import scrub

    if name == "database" and value == "":
        return "a file of this user"
    return scrub(json.dumps(list(value) if isinstance(value, tuple) else value))


def _flags(command: _Command) -> _Command:
    """Add one flag for each setting."""
    for setting in reversed(SETTINGS.values()):
        option = "--" + setting.name.replace("_", "-")
        if setting.name == "kb":
            about = f"{setting.about} May be given again."
            command = click.option(option, multiple=True, metavar="DIR", help=about)(command)
        else:
            about = f"{setting.about} [default: {shown(setting.name, setting.default)}]"
            command = click.option(option, type=_Value(setting), help=about)(command)
    return command


@click.command()
@_flags
@click.option("--config", metavar="FILE", help="Settings, TOML; else what THREEWIRE_CONFIG names.")
@click.option("--show-settings", is_flag=True, help="Print each setting and its origin, and end.")
def serve(config: str | None, show_settings: bool, **flags: Any) -> None:
    """Serve the HTTP interface; see /openapi.json there. Interrupt it to stop.

    A flag wins over the environment (THREEWIRE_NAME), that over the file of --config. On this
    machine alone no key is needed until one is made; to be reached by others it needs keys, see
    'threewire keys'. One page on running it: api/docs/running.md.
    """
    from api.cli import starting
    from api.cli.inputs import told

    given = {name: value for name, value in flags.items() if value not in (None, ())}
    if "kb" in given:
        given["kb"] = list(given["kb"])
    with told(*starting.REFUSALS):
        settings = load(given, file=config)
        if show_settings:
            click.echo("\n".join(lines(settings)))
            return
        _run(settings, given, config)


def _run(settings: Settings, given: dict[str, Any], config: str | None) -> None:
    from api.access.rate_limiter import RateLimiter
    from api.cli import starting
    from api.server import processes as server

    server.require_free(settings.host, settings.port)
    limiter = RateLimiter()  # made before the workers fork, so that they share it
    server.run(lambda: starting.make_app(given, config, limiter), starting.REFUSALS)


def lines(settings: Settings) -> list[str]:
    """Return each setting with its value and where it came from, passwords left out."""
    return [
        f"{name} = {shown(name, getattr(settings, name))}  # {settings.origins[name]}"
        for name in SETTINGS
    ]
