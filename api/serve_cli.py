"""``threewire serve``: the HTTP service on a production server."""

import ipaddress
import logging
import sys

import click

from api.inputs import knowledge_from, overlay_option


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535))
@click.option("--workers", default=1, show_default=True, type=click.IntRange(1, 64))
@click.option("--threads", default=4, show_default=True, type=click.IntRange(1, 64))
@click.option(
    "--timeout",
    default=30,
    show_default=True,
    type=click.IntRange(1, 600),
    help="Seconds after which a stuck worker is replaced.",
)
@overlay_option
def serve(  # noqa: PLR0913, PLR0917 - one parameter an option
    host: str, port: int, workers: int, threads: int, timeout: int, overlay: tuple[str, ...]
) -> None:
    """Serve the HTTP interface; see /openapi.json there. Interrupt it to stop.

    There is no login: anybody who reaches the port may use it. It listens on this machine alone
    unless --host says otherwise.
    """
    from api.server import run

    knowledge_from(overlay)  # a knowledge base with a fault is told here, not in a worker's log
    if not _is_loopback(host):
        click.echo(
            f"threewire: listening on {host}: everybody who reaches it may use it, without login",
            err=True,
        )
    _log_to_stdout()
    run(f"{_bracketed(host)}:{port}", list(overlay), workers, threads, timeout)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _bracketed(host: str) -> str:
    """Return the host as an address and port want it: IPv6 in brackets."""
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def _log_to_stdout() -> None:
    """Send the access log, one line of JSON a request, to standard output."""
    handler = logging.StreamHandler(sys.stdout)
    handler.setFormatter(logging.Formatter("%(message)s"))
    log = logging.getLogger("threewire.api")
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
