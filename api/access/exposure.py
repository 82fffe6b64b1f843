"""Who can reach the service, and whether a caller then needs a key.

Keys are needed as soon as anybody beyond this machine can reach it: bound beyond loopback, or bound
on loopback with a proxy in front. On loopback alone they are needed once a key is made.
"""

import ipaddress
from typing import Any

from werkzeug.datastructures import Headers

from api.settings import Settings

# a proxy on this machine that nobody told the service of still leaves one of these
_FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via")


def is_loopback(host: str) -> bool:
    """Return whether a host is this machine alone."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def beyond_loopback(settings: Settings) -> bool:
    """Return whether others than this machine can reach the service, by its settings."""
    return not is_loopback(settings.host) or settings.proxies > 0


def direct(headers: Headers, environ: dict[str, Any]) -> bool:
    """Return whether a request was made on this machine to this machine, with nothing between.

    The Host header is held to it too: a web page whose name was turned to 127.0.0.1 sends its own.
    """
    if any(name in headers for name in _FORWARDED):
        return False
    host = str(environ.get("HTTP_HOST", "localhost"))
    name = host.partition("]")[0] + "]" if host.startswith("[") else host.partition(":")[0]
    return is_loopback(name.lower())


def network(address: str) -> str:
    """Return what failed tries are counted by: the address, of IPv6 the /64 that one site has."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:60]
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is None:
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)
