"""One attempt: a POST to a checked address, in bounded time, following nothing, and its signature.

Events go to what an administrator has allowed, and nowhere else. A name is looked up once for each
attempt and every address that it has is checked; the connection then goes to a checked address and
not to the name, so that a second look-up cannot change it.
Signatures are those of the Standard Webhooks specification 1.0, symmetric (``v1``).
"""

import base64
import ipaddress
import secrets
import socket
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from http.client import HTTPException
from urllib.parse import SplitResult, urlsplit

from standardwebhooks.webhooks import Webhook
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError

CONNECT_SECONDS = 5.0
READ_SECONDS = 15.0  # the specification suggests 15 to 30 for an answer
WHOLE_SECONDS = 25.0  # all of it, however slowly the answer drips in
Address = ipaddress.IPv4Address | ipaddress.IPv6Address
_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: the last four bytes are IPv4
_SECRET_BYTES = 32  # the specification asks for 24 to 64
_PORTS = {"http": 80, "https": 443}


class AddressRefusedError(Exception):
    """Nothing may be sent there; the message says why and what would have to be allowed."""


@dataclass(frozen=True)
class PostTarget:
    """Where one attempt goes: the URL's parts, and the addresses that were checked."""

    scheme: str
    host: str
    port: int
    path: str  # with its query
    addresses: tuple[str, ...]


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


def target(url: str, allowed: Sequence[str]) -> PostTarget:
    """Return where a URL leads. Raises AddressRefusedError when it may not be called.

    ``allowed`` has hosts and networks (CIDR). A host that is listed by name may have any public
    address; an address inside an organisation needs its network in the list, whatever name leads
    to it. Looks the name up, which may take as long as the system's resolver does.
    """
    parts = _parts(url)
    host = (parts.hostname or "").rstrip(".")
    port = parts.port or _PORTS[parts.scheme]
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise AddressRefusedError(f"{host} has no address") from None
    addresses = tuple(dict.fromkeys(str(one[4][0]).partition("%")[0] for one in found))
    for address in addresses:
        _check(host, address, allowed, parts.scheme)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return PostTarget(parts.scheme, host, port, path, addresses)


def _parts(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise AddressRefusedError("this is not a URL") from None
    if parts.scheme not in _PORTS or not parts.hostname:
        raise AddressRefusedError("a URL with https:// and a host is needed")
    if parts.username is not None or parts.password is not None:
        raise AddressRefusedError("name and password do not belong into the URL")
    if parts.fragment:
        raise AddressRefusedError("the part after # is never sent; leave it out")
    if port == 0 or not url.isascii() or not url.isprintable() or " " in url:
        raise AddressRefusedError("this is not a URL: escape what is not plain ASCII")
    return parts


def _check(host: str, address: str, allowed: Sequence[str], scheme: str) -> None:
    """Raise AddressRefusedError unless this one address of the host may be called."""
    plain = _plain(ipaddress.ip_address(address))
    if plain.is_link_local or plain.is_multicast or plain.is_unspecified:
        raise AddressRefusedError(f"{host} has the address {address}, which is never called")
    named = host in {one.lower().rstrip(".") for one in allowed}
    if not (named and plain.is_global) and not _is_in(plain, allowed):
        kind = "" if plain.is_global else " inside this network"
        needed = "its network" if named else "that host or network"
        raise AddressRefusedError(
            f"{host} has the address {address}{kind}, which is not allowed; to allow it, put "
            f"{needed} into the setting webhook_allow"
        )
    if scheme == "http" and plain.is_global:
        raise AddressRefusedError(f"{host} is outside this network: use https")


def _is_in(address: Address, allowed: Iterable[str]) -> bool:
    for one in allowed:
        with suppress(ValueError):  # a host
            if address in ipaddress.ip_network(one, strict=False):
                return True
    return False


def _plain(address: Address) -> Address:
    """Return the IPv4 address that an IPv6 one stands for, or the address itself."""
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in _NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    teredo = address.teredo
    return address.ipv4_mapped or address.sixtofour or (teredo[1] if teredo else address)


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
    host = f"[{target.host}]" if ":" in target.host else target.host
    port = "" if target.port == _PORTS[target.scheme] else f":{target.port}"
    named = {**headers, "Host": host + port, "Content-Type": "application/json",
             "User-Agent": "threewire"}  # fmt: skip
    try:
        with _deadline(connection):
            connection.connect()
            connection.timeout = READ_SECONDS
            connection.request("POST", target.path, payload.encode(), named, preload_content=False)
            response = connection.getresponse()
            # what it says besides its status is of no interest, and a redirect is not followed
            after = _seconds(response.headers.get("Retry-After", ""))
            return PostResult(response.status, f"answered {response.status}", after)
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


def _seconds(text: str) -> int:
    """Return what a Retry-After asks for, up to a day; a date in it is not followed."""
    return min(int(text), 24 * 3600) if text.isdecimal() and len(text) < 9 else 0


def new_secret() -> str:
    """Return a new secret, in the form that receivers' libraries take."""
    return f"whsec_{base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()}"


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
