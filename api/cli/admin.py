"""``threewire keys`` and ``threewire events``: who may use the service, where events are sent."""

from collections.abc import Callable
from datetime import UTC, datetime

import click

from api.access import keys as access_keys
from api.cases.events import KINDS, endpoints
from api.cases.events.endpoints import EndpointError
from api.cases.events.posting import AddressRefusedError
from api.cases.events.sender import Sender
from api.cli.db import OpenStore, on_store, open_store
from api.cli.inputs import BadInput, told
from engine.knowledge.faults import unknown


@click.group()
def keys() -> None:
    """Make, list and revoke the keys that callers of the service need."""


@keys.command()
@click.option(
    "--role", required=True, type=click.Choice(("read", "agent", "admin")),
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
def list_keys(store: OpenStore) -> None:
    """List all keys that were made, revoked ones too; never a secret."""
    with store.database.reading() as session:
        rows = access_keys.listed(session)
    if not rows:
        click.echo("No key is made.", err=True)
    for row in rows:
        state = f"revoked {row.revoked_at:%F}" if row.revoked_at else "in force"
        click.echo(f"{row.id}  {row.role:5}  made {row.made_at:%F}  {state:19}  {row.name}")


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


@click.group()
def events() -> None:
    """Where events are sent to. The setting webhook_allow says where they may be."""


@events.command()
@click.argument("url")
@click.option(
    "--kind", "kinds", multiple=True, type=click.Choice(KINDS), default=KINDS,
    help="Kind of event to send there; may be given again. All when left out.",
)  # fmt: skip
@on_store()
@told(AddressRefusedError)
def add(store: OpenStore, url: str, kinds: tuple[str, ...]) -> None:
    """Send events to URL from now on. Shows the secret that signs them, this once."""
    allowed, now = store.settings.webhook_allow, datetime.now(UTC)
    endpoint = store.database.write(
        lambda session: endpoints.add(session, url, kinds, allowed, now)
    )
    click.echo(f"{endpoint.id}  {', '.join(endpoint.events)}  {url}")
    click.echo(f"secret: {endpoint.secret}")
    click.echo(
        "The receiver needs the secret to check signatures. It is not shown again.", err=True
    )


@events.command("list")
@on_store()
def list_endpoints(store: OpenStore) -> None:
    """Show every endpoint and what became of its events. No secrets."""
    with store.database.reading() as session:
        standings = endpoints.standings(session)
    if not standings:
        click.echo("no endpoints; 'threewire events add URL' makes one")
    for one in standings:
        endpoint, at = one.endpoint, one.endpoint.disabled_at
        state = f"disabled {at:%F %R}Z" if at else "in use"
        counts = ", ".join(f"{number} {word}" for word, number in sorted(one.counts.items()))
        last = f"; last: {one.last_result}" if one.last_result else ""
        click.echo(f"{endpoint.id}  {state}  {', '.join(endpoint.events)}  {endpoint.url}")
        click.echo(f"  {counts or 'nothing sent yet'}{last}")


def _on_endpoint(command: Callable[[OpenStore, str], None]) -> click.Command:
    """Make a command of ``events`` that takes an endpoint's id, and tells of one not there."""
    taking = click.argument("endpoint")(on_store()(told(EndpointError)(command)))
    return events.command()(taking)


@_on_endpoint
def disable(store: OpenStore, endpoint: str) -> None:
    """Send nothing more to ENDPOINT; what waits for it is given up."""
    now, why = datetime.now(UTC), "the endpoint was disabled"
    count = store.database.write(lambda session: endpoints.disable(session, endpoint, now, why))
    click.echo(f"{endpoint}: disabled; {count} events given up")


@_on_endpoint
def retry(store: OpenStore, endpoint: str) -> None:
    """Take ENDPOINT back into use and send now what was given up, or failed and waits."""
    now = datetime.now(UTC)
    count = store.database.write(lambda session: endpoints.retry(session, endpoint, now))
    click.echo(f"{endpoint}: in use; {count} events to be sent again")


@_on_endpoint
def rotate(store: OpenStore, endpoint: str) -> None:
    """Give ENDPOINT a new secret and show it, this once; the old one signs too for a day."""
    now = datetime.now(UTC)
    secret = store.database.write(lambda session: endpoints.rotate(session, endpoint, now))
    click.echo(f"secret: {secret}")
    click.echo("It is not shown again. Messages carry both signatures for 24 hours.", err=True)


@events.command()
@click.option(
    "--once", is_flag=True, required=True, expose_value=False,
    help="Send what is due now, then end.",
)  # fmt: skip
@on_store()
def deliver(store: OpenStore) -> None:
    """Send what is due by hand. The service does it by itself; both at once do no harm.

    Exit status 1 when anything did not get through.
    """
    ended = Sender(store.database, store.settings.webhook_allow).deliver_due()
    said = ", ".join(f"{number} {word}" for word, number in sorted(ended.items()))
    click.echo(said or "nothing is due")
    if set(ended) - {"delivered"}:
        raise SystemExit(1)
