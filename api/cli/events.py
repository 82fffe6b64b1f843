"""``threewire events``: the addresses that events are sent to, and what became of the events."""

from datetime import UTC, datetime

import click

from api.cases.events import KINDS, endpoints
from api.cases.events.endpoints import EndpointError, Standing
from api.cases.events.posting import AddressRefusedError
from api.cases.events.sender import Sender
from api.cli.db import OpenStore, on_store
from api.cli.inputs import told


@click.group()
def events() -> None:
    """Where events are sent to. The setting webhook_allow says where they may be."""


@events.command()
@click.argument("url")
@click.option(
    "--kind", "kinds", multiple=True, type=click.Choice(KINDS),
    help="Kind of event to send there; may be given again. All when left out.",
)  # fmt: skip
@on_store()
def add(store: OpenStore, url: str, kinds: tuple[str, ...]) -> None:
    """Send events to URL from now on. Shows the secret that signs them, this once."""
    allowed, now = store.settings.webhook_allow, datetime.now(UTC)
    with told(AddressRefusedError):
        endpoint = store.database.write(
            lambda session: endpoints.add(session, url, kinds or KINDS, allowed, now)
        )
    click.echo(f"{endpoint.id}  {', '.join(endpoint.events)}  {url}")
    click.echo(f"secret: {endpoint.secret}")
    click.echo(
        "The receiver needs the secret to check signatures. It is not shown again.", err=True
    )


@events.command("list")
@on_store()
def list_(store: OpenStore) -> None:
    """Show every endpoint and what became of its events. No secrets."""
    with store.database.reading() as session:
        standings = endpoints.standings(session)
    if not standings:
        click.echo("no endpoints; 'threewire events add URL' makes one")
    for one in standings:
        _show(one)


def _show(one: Standing) -> None:
    endpoint = one.endpoint
    state = "in use" if endpoint.disabled_at is None else f"disabled {endpoint.disabled_at:%F %R}Z"
    counts = ", ".join(f"{number} {state}" for state, number in sorted(one.counts.items()))
    click.echo(f"{endpoint.id}  {state}  {', '.join(endpoint.events)}  {endpoint.url}")
    last = f"; last: {one.last_result}" if one.last_result else ""
    click.echo(f"  {counts or 'nothing sent yet'}{last}")


@events.command()
@click.argument("endpoint")
@on_store()
def disable(store: OpenStore, endpoint: str) -> None:
    """Send nothing more to ENDPOINT; what waits for it is given up."""
    now, why = datetime.now(UTC), "the endpoint was disabled"
    with told(EndpointError):
        count = store.database.write(lambda session: endpoints.disable(session, endpoint, now, why))
    click.echo(f"{endpoint}: disabled; {count} events given up")


@events.command()
@click.argument("endpoint")
@on_store()
def retry(store: OpenStore, endpoint: str) -> None:
    """Take ENDPOINT back into use and send now what was given up, or failed and waits."""
    now = datetime.now(UTC)
    with told(EndpointError):
        count = store.database.write(lambda session: endpoints.retry(session, endpoint, now))
    click.echo(f"{endpoint}: in use; {count} events to be sent again")


@events.command()
@click.argument("endpoint")
@on_store()
def rotate(store: OpenStore, endpoint: str) -> None:
    """Give ENDPOINT a new secret and show it, this once; the old one signs too for a day."""
    now = datetime.now(UTC)
    with told(EndpointError):
        secret = store.database.write(lambda session: endpoints.rotate(session, endpoint, now))
    click.echo(f"secret: {secret}")
    click.echo("It is not shown again. Messages carry both signatures for 24 hours.", err=True)


@events.command()
@click.option("--once", is_flag=True, required=True, help="Send what is due now, then end.")
@on_store()
def deliver(store: OpenStore, once: bool) -> None:
    """Send what is due by hand. The service does it by itself; both at once do no harm.

    Exit status 1 when anything did not get through.
    """
    assert once  # click asked for it
    ended = Sender(store.database, store.settings.webhook_allow).deliver_due()
    said = ", ".join(f"{number} {word}" for word, number in sorted(ended.items()))
    click.echo(said or "nothing is due")
    if set(ended) - {"delivered"}:
        raise SystemExit(1)
