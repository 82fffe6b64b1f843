"""``threewire db``: the store's schema."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import click

from api.cli.inputs import BadInput

_Command = TypeVar("_Command", bound=Callable[..., Any])


def store_options(command: _Command) -> _Command:
    """Add ``--database`` and ``--config``, as every command on the store takes them."""
    for option in (
        click.option("--config", metavar="FILE", help="Settings, TOML."),
        click.option("--database", metavar="URL", help="The store; else the setting 'database'."),
    ):
        command = option(command)
    return command


@contextmanager
def opened(url: str | None, config: str | None, current: bool = True) -> Iterator[Any]:
    """Give the database that flags and settings name; whatever is wrong ends in BadInput."""
    from api import settings
    from api.store import Database, SchemaError, StoreUnavailableError
    from api.store.schema import require_current

    try:
        database = Database(settings.load({"database": url}, file=config).database)
        try:
            if current:
                require_current(database)
            yield database
        finally:
            database.close()
    except settings.SettingsError as error:
        raise BadInput(str(error).splitlines()) from None
    except (SchemaError, StoreUnavailableError, OSError) as error:
        raise BadInput([str(error)]) from None


@click.group()
def db() -> None:
    """Set up, bring up to date and look at the store of cases."""


@db.command()
@store_options
def upgrade(database: str | None, config: str | None) -> None:
    """Set the store up, or bring an older one up to this program. Copy it first."""
    from api import store

    with opened(database, config, current=False) as found:
        done = store.upgrade(found)
        click.echo(f"{shown(found)}: {'brought up to date' if done else 'is up to date'}")


@db.command()
@store_options
def status(database: str | None, config: str | None) -> None:
    """Say where the store is and how its schema stands to this program. Exit status 1 unless
    current."""
    from api import store

    with opened(database, config, current=False) as found:
        state = store.schema_state(found)
        click.echo(f"{shown(found)}: {state}")
    if state is not store.State.CURRENT:
        raise SystemExit(1)


def shown(database: Any) -> str:
    """Return the database's URL without its password."""
    return str(database.url.render_as_string(hide_password=True))
