"""``threewire events``: the addresses that events are sent to, and what became of the events."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import click

from api.cli.db import opened, store_options
from api.cli.inputs import BadInput

_KINDS = (
    "finding.added",
    "case.closed",
)  # as api.cases.events; a test holds them together


@click.group()
def events() -> None:
    """Where events are sent to. The setting webhook_allow says where they may be."""


@contextmanager
def _told() -> Iterator[None]:
    from api.cases.events.addresses import AddressRefusedError
    from api.cases.events.endpoints import EndpointError

    try:
        yield
    except (AddressRefusedError, EndpointError) as error:
        raise BadInput([str(error)]) from None


def _allowed(config: str | None) -> tuple[str, ...]:
    from api import settings

    try:
        return settings.load(file=config).webhook_allow
    except settings.SettingsError as error:
        raise BadInput(str(error).splitlines()) from None


@events.command()
@click.argument("url")
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    type=click.Choice(_KINDS),
    help="Kind of event to send there; may be given again. All when left out.",
)
@store_options
def add(url: str, kinds: tuple[str, ...], database: str | None, config: str | None) -> None:
    """Send events to URL from now on. Shows the secret that signs them, this once."""
    from api.cases.events import endpoints

    allowed = _allowed(config)
    with opened(database, config) as found, _told():
        now = datetime.now(UTC)
        endpoint = found.write(
            lambda session: endpoints.add(session, url, kinds or _KINDS, allowed, now)
        )
    click.echo(f"{endpoint.id}  {', '.join(endpoint.events)}  {url}")
    click.echo(f"secret: {endpoint.secret}")
    click.echo(
        "The receiver needs the secret to check signatures. It is not shown again.", err=True
    )


@events.command("list")
@store_options
def list_(database: str | None, config: str | None) -> None:
    """Show every endpoint and what became of its events. No secrets."""
    from api.cases.events import endpoints

    with opened(database, config) as found, found.reading() as session:
        standings = endpoints.standings(session)
    if not standings:
        click.echo("no endpoints; 'threewire events add URL' makes one")
    for one in standings:
        _show(one)


def _show(one: Any) -> None:
    endpoint = one.endpoint
    state = "in use" if endpoint.disabled_at is None else f"disabled {endpoint.disabled_at:%F %R}Z"
    counts = ", ".join(f"{number} {state}" for state, number in sorted(one.counts.items()))
    click.echo(f"{endpoint.id}  {state}  {', '.join(endpoint.events)}  {endpoint.url}")
    last = f"; last: {one.last_result}" if one.last_result else ""
    click.echo(f"  {counts or 'nothing sent yet'}{last}")


@events.command()
@click.argument("endpoint")
@store_options
def disable(endpoint: str, database: str | None, config: str | None) -> None:
    """Send nothing more to ENDPOINT; what waits for it is given up."""
    from api.cases.events import endpoints

    with opened(database, config) as found, _told():
        now, why = datetime.now(UTC), "the endpoint was disabled"
        count = found.write(lambda session: endpoints.disable(session, endpoint, now, why))
    click.echo(f"{endpoint}: disabled; {count} events given up")


@events.command()
@click.argument("endpoint")
@store_options
def retry(endpoint: str, database: str | None, config: str | None) -> None:
    """Take ENDPOINT back into use and send again what was given up."""
    from api.cases.events import endpoints

    with opened(database, config) as found, _told():
        now = datetime.now(UTC)
        count = found.write(lambda session: endpoints.retry(session, endpoint, now))
    click.echo(f"{endpoint}: in use; {count} events to be sent again")


@events.command()
@click.option("--once", is_flag=True, required=True, help="Send what is due now, then end.")
@store_options
def deliver(once: bool, database: str | None, config: str | None) -> None:
    """Send what is due by hand. The service does it by itself; both at once do no harm.

    Exit status 1 when anything did not get through.
    """
    from api.cases.events.sender import Sender

    assert once  # click asked for it
    allowed = _allowed(config)
    with opened(database, config) as found:
        ended = Sender(found, allowed).deliver_due()
    said = ", ".join(f"{number} {word}" for word, number in sorted(ended.items()))
    click.echo(said or "nothing is due")
    if set(ended) - {"delivered"}:
        raise SystemExit(1)
