"""``threewire db``: the store's schema; and what every command on the store takes."""

import functools
from collections.abc import Callable
from typing import Any, NamedTuple

import click

from api import store
from api.cli.inputs import told
from api.settings import Settings, SettingsError, load
from api.store import Database, SchemaError, StoreUnavailableError
from api.store.schema import require_current

Command = Callable[..., None]


class OpenStore(NamedTuple):
    """The store that a command works on, and the settings that named it."""

    database: Database
    settings: Settings

    @property
    def shown(self) -> str:
        """Return the database's URL without its password."""
        return str(self.database.url.render_as_string(hide_password=True))


def as_it_is(settings: Settings) -> Database:
    """Return the store that settings name, whatever its schema."""
    return Database(settings.database)


def current(settings: Settings) -> Database:
    """Return the store that settings name, its schema this program's."""
    database = Database(settings.database)
    try:
        require_current(database)
    except BaseException:
        database.close()
        raise
    return database


def on_store(opened: Callable[[Settings], Database] = current) -> Callable[[Command], Command]:
    """Return what adds ``--database`` and ``--config``.

    The command gets the open store as its first argument; whatever is wrong with it, or with the
    settings, ends in BadInput.
    """

    def decorate(command: Command) -> Command:
        @click.option("--database", metavar="URL", help="The store; else the setting 'database'.")
        @click.option("--config", metavar="FILE", help="Settings, TOML.")
        @functools.wraps(command)
        def call(database: str | None, config: str | None, **rest: Any) -> None:
            with told(SettingsError, SchemaError, StoreUnavailableError, OSError):
                settings = load({"database": database}, file=config)
                found = opened(settings)
                try:
                    command(OpenStore(found, settings), **rest)
                finally:
                    found.close()

        return call

    return decorate


@click.group()
def db() -> None:
    """Set up, bring up to date and look at the store of cases."""


@db.command()
@on_store(as_it_is)
def upgrade(found: OpenStore) -> None:
    """Set the store up, or bring an older one up to this program. Copy it first."""
    done = store.upgrade(found.database)
    click.echo(f"{found.shown}: {'brought up to date' if done else 'is up to date'}")


@db.command()
@on_store(as_it_is)
def status(found: OpenStore) -> None:
    """Say where the store is and how its schema stands to this program. Exit status 1 unless
    current."""
    state = store.schema_state(found.database)
    click.echo(f"{found.shown}: {state}")
    if state is not store.State.CURRENT:
        raise SystemExit(1)
