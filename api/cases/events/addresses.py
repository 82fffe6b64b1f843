"""Which addresses events may go to: those an administrator has allowed, and no others.

A name is looked up once for each attempt and every address that it has is checked; the connection
then goes to a checked address and not to the name, so that a second look-up cannot change it.
"""

import ipaddress
import socket
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: the last four bytes are IPv4


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


def target(url: str, allowed: Sequence[str]) -> PostTarget:
    """Return where a URL leads. Raises AddressRefusedError when it may not be called.

    ``allowed`` has hosts and networks (CIDR). A host that is listed by name may have any public
    address; an address inside an organisation needs its network in the list, whatever name leads
    to it. Looks the name up, which may take as long as the system's resolver does.
    """
    parts = read_url(url)
    host = (parts.hostname or "").rstrip(".")
    port = parts.port or (443 if parts.scheme == "https" else 80)
    addresses = _looked_up(host, port)
    networks = list(_networks(allowed))
    named = host in {one.lower().rstrip(".") for one in allowed}
    for address in addresses:
        _check(host, ipaddress.ip_address(address), named, networks)
        if parts.scheme == "http" and _plain(ipaddress.ip_address(address)).is_global:
            raise AddressRefusedError(f"{host} is outside this network: use https")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return PostTarget(parts.scheme, host, port, path, addresses)


def read_url(url: str) -> SplitResult:
    """Return the parts of a URL that can be sent to. Raises AddressRefusedError."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise AddressRefusedError("this is not a URL") from None
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise AddressRefusedError("a URL with https:// and a host is needed")
    if parts.username is not None or parts.password is not None:
        raise AddressRefusedError("name and password do not belong into the URL")
    if parts.fragment:
        raise AddressRefusedError("the part after # is never sent; leave it out")
    if port == 0 or not url.isascii() or not url.isprintable() or " " in url:
        raise AddressRefusedError("this is not a URL: escape what is not plain ASCII")
    return parts


def _looked_up(host: str, port: int) -> tuple[str, ...]:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise AddressRefusedError(f"{host} has no address") from None
    return tuple(dict.fromkeys(str(one[4][0]).partition("%")[0] for one in found))


def _networks(allowed: Iterable[str]) -> Iterable[Network]:
    for one in allowed:
        try:
            yield ipaddress.ip_network(one, strict=False)
        except ValueError:  # a host
            continue


def _check(host: str, address: Address, named: bool, networks: Sequence[Network]) -> None:
    """Raise AddressRefusedError unless this one address of the host may be called."""
    plain = _plain(address)
    if plain.is_link_local or plain.is_multicast or plain.is_unspecified:
        raise AddressRefusedError(f"{host} has the address {address}, which is never called")
    if any(plain in network for network in networks if network.version == plain.version):
        return
    if named and plain.is_global:
        return
    kind = "" if plain.is_global else " inside this network"
    needed = "its network" if named else "that host or network"
    raise AddressRefusedError(
        f"{host} has the address {address}{kind}, which is not allowed; to allow it, put {needed} "
        "into the setting webhook_allow"
    )


def _plain(address: Address) -> Address:
    """Return the IPv4 address that an IPv6 one stands for, or the address itself."""
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in _NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    teredo = address.teredo
    return address.ipv4_mapped or address.sixtofour or (teredo[1] if teredo else address)
