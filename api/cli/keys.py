"""``threewire keys``: who may use the service."""

from datetime import datetime

import click

from api.access import keys as access_keys
from api.cli.db import OpenStore, on_store, open_store
from api.cli.inputs import BadInput
from engine.knowledge.faults import unknown

_ROLES = ("read", "agent", "admin")


@click.group()
def keys() -> None:
    """Make, list and revoke the keys that callers of the service need."""


@keys.command()
@click.option(
    "--role", required=True, type=click.Choice(_ROLES),
    help="read: look and diagnose. agent: open cases and write in them, too. admin: everything.",
)  # fmt: skip
@click.option("--name", required=True, help="Who it is for; stands in cases and logs.")
@on_store(open_store)
def make(store: OpenStore, role: str, name: str) -> None:
    """Make a key and print it. It is shown this once: only its digest is kept."""
    if not access_keys.good_name(name):
        raise BadInput(["--name: 1 to 60 letters, digits, spaces and plain signs"])
    row, text = store.database.write(lambda session: access_keys.make(session, name, role))
    click.echo(text)
    click.echo(
        f"Key {row.id} for '{name}', role {role}. Keep it now: it cannot be shown again.", err=True
    )


@keys.command("list")
@on_store(open_store)
def show(store: OpenStore) -> None:
    """List all keys that were made, revoked ones too; never a secret."""
    with store.database.reading() as session:
        rows = access_keys.listed(session)
    if not rows:
        click.echo("No key is made.", err=True)
    for row in rows:
        state = f"revoked {_day(row.revoked_at)}" if row.revoked_at else "in force"
        click.echo(f"{row.id}  {row.role:5}  made {_day(row.made_at)}  {state:19}  {row.name}")


@keys.command()
@click.argument("key_id", metavar="ID")
@on_store(open_store)
def revoke(store: OpenStore, key_id: str) -> None:
    """Take a key out of force, by the id that 'keys list' shows. Servers follow in seconds."""
    row = store.database.write(lambda session: access_keys.revoke(session, key_id))
    if row is None:
        with store.database.reading() as session:
            known = [one.id for one in access_keys.listed(session)]
        raise BadInput([unknown("key", key_id, known)])
    click.echo(f"Key {row.id} ('{row.name}') is revoked; running servers refuse it within 5 s.")


def _day(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%d")
