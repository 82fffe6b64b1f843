"""One attempt: a POST to a checked address, in bounded time, following nothing, and its signature.

Signatures are those of the Standard Webhooks specification 1.0, symmetric (``v1``).
"""

import base64
import secrets
import socket
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from http.client import HTTPException

from standardwebhooks.webhooks import Webhook
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError

from api.cases.events.addresses import PostTarget

CONNECT_SECONDS = 5.0
READ_SECONDS = 15.0  # the specification suggests 15 to 30 for an answer
WHOLE_SECONDS = 25.0  # all of it, however slowly the answer drips in


@dataclass(frozen=True)
class PostResult:
    """How an attempt ended: ``status`` 0 where there was no answer, and words for people."""

    status: int
    words: str
    retry_after: int = 0  # seconds that the receiver asks to be left alone

    @property
    def good(self) -> bool:
        """Whether the receiver has the message."""
        return 200 <= self.status < 300

    @property
    def gone(self) -> bool:
        """Whether the receiver wants no more messages at all."""
        return self.status == 410


def post(target: PostTarget, headers: Mapping[str, str], payload: str) -> PostResult:
    """Send to the first of the target's addresses that can be reached. Raises nothing."""
    result = PostResult(0, "no address")
    for address in target.addresses:
        result = _post_to(address, target, headers, payload)
        if result.status:
            break
    return result


def _post_to(
    address: str, target: PostTarget, headers: Mapping[str, str], payload: str
) -> PostResult:
    connection = _connection(address, target)
    named = {**headers, "Host": _host(target), "Content-Type": "application/json",
             "User-Agent": "threewire"}  # fmt: skip
    try:
        with _deadline(connection):
            connection.connect()
            connection.timeout = READ_SECONDS
            connection.request(
                "POST", target.path, payload.encode("utf-8"), named, preload_content=False
            )
            response = connection.getresponse()
            # what it says besides its status is of no interest, and a redirect is not followed
            after = response.headers.get("Retry-After", "")
            return PostResult(response.status, f"answered {response.status}", _seconds(after))
    except (HTTPError, HTTPException, OSError, ValueError) as error:
        return PostResult(0, f"no answer: {type(error).__name__}")  # its text may repeat the URL
    finally:
        connection.close()


def _connection(address: str, target: PostTarget) -> HTTPConnection:
    """Return a connection to the address that still speaks to, and checks, the named host."""
    if target.scheme == "http":
        return HTTPConnection(address, target.port, timeout=CONNECT_SECONDS)
    return HTTPSConnection(
        address, target.port, timeout=CONNECT_SECONDS, cert_reqs="CERT_REQUIRED",
        server_hostname=target.host, assert_hostname=target.host,
    )  # fmt: skip


@contextmanager
def _deadline(connection: HTTPConnection) -> Iterator[None]:
    """Shut the connection when the time for all of it is over: drops reset any other timeout."""

    def end() -> None:
        with suppress(OSError, AttributeError):  # not connected yet, or gone by itself
            connection.sock.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(WHOLE_SECONDS, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _host(target: PostTarget) -> str:
    host = f"[{target.host}]" if ":" in target.host else target.host
    usual = {"http": 80, "https": 443}[target.scheme]
    return host if target.port == usual else f"{host}:{target.port}"


def _seconds(text: str) -> int:
    """Return what a Retry-After asks for, up to a day; a date in it is not followed."""
    return min(int(text), 24 * 3600) if text.isdecimal() and len(text) < 9 else 0


PREFIX = "whsec_"
_SECRET_BYTES = 32  # the specification asks for 24 to 64


def new_secret() -> str:
    """Return a new secret, in the form that receivers' libraries take."""
    return PREFIX + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode("ascii")


def headers(secrets_: Iterable[str], message: str, payload: str, at: datetime) -> dict[str, str]:
    """Return the headers of one attempt, with a signature by each secret.

    What is signed is id, time of the attempt and payload.
    """
    at = at.astimezone(UTC)  # the library takes the clock's figures for UTC
    return {
        "webhook-id": message,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(Webhook(one).sign(message, at, payload) for one in secrets_),
    }
