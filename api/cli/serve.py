"""``threewire serve`` and ``threewire mcp``: the HTTP service, and tools for an assistant."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
from flask import Flask

from api import create_app
from api.access import exposure, keys
from api.access.rate_limiter import RateLimiter
from api.cli.db import open_store
from api.cli.inputs import BadInput, knowledge_option, told
from api.logs import scrub
from api.server import processes as server
from api.service import knowledge_of
from api.settings import SETTINGS, SettingEntry, SettingError, Settings, load
from api.store import Database, SchemaError, StoreUnavailableError
from engine import Knowledge
from engine.diagnosis import diagnoser_of
from engine.knowledge.faults import FaultsError

_MAKE_ONE = "make one with 'threewire keys make --role admin --name NAME' on the same store"


class StartError(Exception):
    """The service may not start so; the message says why and what to do."""


# whatever keeps the service from starting
REFUSALS = (FaultsError, StartError, SchemaError, StoreUnavailableError, OSError)


def shown(name: str, value: Any) -> str:
    """Return a setting's value as TOML has it, without the password of a URL."""
    if name == "database" and value == "":
        return "a file of this user"
    return scrub(json.dumps(list(value) if isinstance(value, tuple) else value))


def _flag(setting: SettingEntry) -> click.Option:
    """Return the flag of a setting, read as the setting is read from everywhere else."""

    def read(_: click.Context, __: click.Parameter, value: str | None) -> object:
        try:
            return None if value is None else setting.read(value)
        except SettingError as fault:
            raise click.BadParameter(f"'{value}': {fault}") from None

    option = "--" + setting.name.replace("_", "-")
    if setting.name == "kb":
        about = f"{setting.about} May be given again."
        return click.Option([option], multiple=True, metavar="DIR", help=about)
    about = f"{setting.about} [default: {shown(setting.name, setting.default)}]"
    return click.Option([option], metavar="VALUE", callback=read, help=about)


@click.command(params=[_flag(setting) for setting in SETTINGS.values()])
@click.option("--config", metavar="FILE", help="Settings, TOML; else what THREEWIRE_CONFIG names.")
@click.option("--show-settings", is_flag=True, help="Print each setting and its origin, and end.")
@told(*REFUSALS)
def serve(config: str | None, show_settings: bool, **flags: Any) -> None:
    """Serve the HTTP interface; see /openapi.json there. Interrupt it to stop.

    A flag wins over the environment (THREEWIRE_NAME), that over the file of --config. On this
    machine alone no key is needed until one is made; to be reached by others it needs keys, see
    'threewire keys'. One page on running it: api/docs/running.md.
    """
    given = {name: value for name, value in flags.items() if value not in (None, ())}
    if "kb" in given:
        given["kb"] = list(given["kb"])
    settings = load(given, file=config)
    if show_settings:
        for name in SETTINGS:
            value = shown(name, getattr(settings, name))
            click.echo(f"{name} = {value}  # {settings.origins[name]}")
        return
    server.require_free(settings.host, settings.port)
    limiter = RateLimiter()  # made before the workers fork, so that they share it
    server.run(lambda: make_app(given, config, limiter), REFUSALS)


def make_app(flags: Mapping[str, Any], file: str | None, limiter: RateLimiter) -> Flask:
    """Return the application, with no connection left open that a fork would share.

    Raises SettingsError, KnowledgeError, SchemaError, StoreUnavailableError, StartError or OSError.
    """
    settings = load(flags, file=file)
    knowledge = knowledge_of(settings)
    database = open_store(settings)  # after the knowledge: what cannot start makes no file
    try:
        _put_keys(settings, database)
        _require_guard(settings, database)
        return create_app({
            "SETTINGS": settings, "DATABASE": database, "KNOWLEDGE": knowledge,
            "RATE_LIMITER": limiter,
        })  # fmt: skip
    finally:
        database.close()


def _put_keys(settings: Settings, database: Database) -> None:
    """Put the keys of the setting ``keys_file`` in force. Raises StartError, OSError."""
    if not settings.keys_file:
        return
    lines = Path(settings.keys_file).read_text(encoding="utf-8")
    try:
        database.write(lambda session: keys.put(session, lines))
    except ValueError as error:
        raise StartError(f"{settings.keys_file}: {error}") from None


def _require_guard(settings: Settings, database: Database) -> None:
    """Raise StartError when others could reach the service without a key, or nobody with one."""
    beyond = exposure.beyond_loopback(settings)
    where = "a proxy stands in front" if settings.proxies else f"it listens on {settings.host}"
    if beyond and settings.require_keys == "no":
        raise StartError(
            f"keys are off (require_keys) and others can reach the service ({where}): keys may be "
            "off only on loopback without a proxy"
        )
    if not beyond and settings.require_keys != "yes":
        return
    with database.reading() as session:
        if keys.any_in_force(session):
            return
    why = f"others can reach the service ({where})" if beyond else "require_keys is 'yes'"
    raise StartError(f"{why} and no key is in force: {_MAKE_ONE}")


@click.command()
@knowledge_option
def mcp(knowledge: Knowledge) -> None:
    """Serve three tools to an assistant (Model Context Protocol).

    They are diagnose, next_check and look_up, over standard input and output. The assistant's
    program starts this command and ends it by closing standard input. What closed cases taught a
    service is not known here.
    """
    try:
        from api.assistants.stdio import serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] in ("mcp", "mcp_types", "anyio"):
            raise BadInput([
                "the SDK of the Model Context Protocol is missing: install threewire with its "
                "extra 'mcp', in a checkout: pip install '.[mcp]'"
            ]) from None  # fmt: skip
        raise
    serve(diagnoser_of(knowledge))
