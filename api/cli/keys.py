"""``threewire keys``: who may use the service."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING

import click

from api.cli.db import store_options
from api.cli.inputs import BadInput

if TYPE_CHECKING:
    from api.store import Database

_ROLES = ("read", "agent", "admin")


@contextmanager
def _store(url: str | None, config: str | None) -> Iterator["Database"]:
    """Give the store that flags and settings name; whatever is wrong ends in BadInput."""
    from api import settings
    from api.cli import starting

    with starting.told():
        database = starting.open_store(settings.load({"database": url}, file=config))
        try:
            yield database
        finally:
            database.close()


@click.group()
def keys() -> None:
    """Make, list and revoke the keys that callers of the service need."""


@keys.command()
@click.option(
    "--role", required=True, type=click.Choice(_ROLES),
    help="read: look and diagnose. agent: open cases and write in them, too. admin: everything.",
)  # fmt: skip
@click.option("--name", required=True, help="Who it is for; stands in cases and logs.")
@store_options
def make(role: str, name: str, database: str | None, config: str | None) -> None:
    """Make a key and print it. It is shown this once: only its digest is kept."""
    from api.access import keys as access_keys

    if not access_keys.good_name(name):
        raise BadInput(["--name: 1 to 60 letters, digits, spaces and plain signs"])
    with _store(database, config) as store:
        row, text = store.write(lambda session: access_keys.make(session, name, role))
    click.echo(text)
    click.echo(
        f"Key {row.id} for '{name}', role {role}. Keep it now: it cannot be shown again.", err=True
    )


@keys.command("list")
@store_options
def show(database: str | None, config: str | None) -> None:
    """List all keys that were made, revoked ones too; never a secret."""
    from api.access import keys as access_keys

    with _store(database, config) as store, store.reading() as session:
        rows = access_keys.listed(session)
    if not rows:
        click.echo("No key is made.", err=True)
    for row in rows:
        state = f"revoked {_day(row.revoked_at)}" if row.revoked_at else "in force"
        click.echo(f"{row.id}  {row.role:5}  made {_day(row.made_at)}  {state:19}  {row.name}")


@keys.command()
@click.argument("key_id", metavar="ID")
@store_options
def revoke(key_id: str, database: str | None, config: str | None) -> None:
    """Take a key out of force, by the id that 'keys list' shows. Servers follow in seconds."""
    from api.access import keys as access_keys
    from engine.knowledge.faults import unknown

    with _store(database, config) as store:
        row = store.write(lambda session: access_keys.revoke(session, key_id))
        if row is None:
            with store.reading() as session:
                known = [one.id for one in access_keys.listed(session)]
            raise BadInput([unknown("key", key_id, known)])
    click.echo(f"Key {row.id} ('{row.name}') is revoked; running servers refuse it within 5 s.")


def _day(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%d")
