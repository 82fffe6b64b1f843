"""Only what an administrator has allowed is called, however it is written."""

import socket
from typing import Any

import pytest

from api.cases.events.posting import AddressRefusedError, target

# The same two machines, written as the resolver of this system also reads them.
LOOPBACKS = (
    "127.0.0.1", "localhost", "LOCALHOST.", "127.1", "2130706433", "0x7f000001", "0177.0.0.1",
    "[::1]", "[::ffff:127.0.0.1]", "[0:0:0:0:0:ffff:7f00:1]",
)  # fmt: skip
# RFC 3927 and RFC 4291: link-local, where clouds keep their credentials; and nobody's addresses
NEVER = (
    "169.254.169.254", "[::ffff:169.254.169.254]", "[fe80::1]", "0.0.0.0",  # noqa: S104
    "[::]", "224.0.0.1",
    "2852039166", "[64:ff9b::a9fe:a9fe]", "[2002:a9fe:a9fe::1]",
)  # fmt: skip


def _resolve(monkeypatch: pytest.MonkeyPatch, *addresses: str) -> None:
    """Give every name these addresses."""

    def found(_: str, port: int, **__: Any) -> list[Any]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (one, port)) for one in addresses]

    monkeypatch.setattr(socket, "getaddrinfo", found)


@pytest.mark.parametrize("host", LOOPBACKS)
def test_loopback_is_refused_however_it_is_written(host: str) -> None:
    """Where nothing, or another network, is allowed, this machine is not called."""
    for allowed in ((), ("10.0.0.0/8",), ("hooks.example.org",)):
        with pytest.raises(AddressRefusedError):
            target(f"http://{host}/hook", allowed)


@pytest.mark.parametrize("host", NEVER)
def test_some_addresses_are_never_called(host: str) -> None:
    """Not even where every network is allowed."""
    with pytest.raises(AddressRefusedError):
        target(f"https://{host}/hook", ("0.0.0.0/0", "::/0"))


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "127.1", "[::ffff:127.0.0.1]"])
def test_an_allowed_network_is_called(host: str) -> None:
    """With 127.0.0.0/8 (RFC 1122) allowed, this machine is, and plain HTTP does."""
    found = target(f"http://{host}:8080/a?b=c", ("127.0.0.0/8", "::1/128"))
    assert (found.port, found.path) == (8080, "/a?b=c")
    assert found.addresses


def test_a_name_that_is_allowed_has_public_addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    """A listed host is called by its public address, checked before the connection is made."""
    _resolve(monkeypatch, "93.184.216.34")
    assert target("https://Hooks.Example.org/x", ("hooks.example.org",)).addresses == (
        "93.184.216.34",
    )
    with pytest.raises(AddressRefusedError, match="webhook_allow"):
        target("https://other.example.org/x", ("hooks.example.org",))


@pytest.mark.parametrize("inside", ["10.1.2.3", "192.168.0.9", "127.0.0.1", "100.64.0.1"])
def test_a_name_that_leads_inside_is_refused(monkeypatch: pytest.MonkeyPatch, inside: str) -> None:
    """A listed host with one address inside (RFC 1918, 6598) is refused until that is allowed."""
    _resolve(monkeypatch, "93.184.216.34", inside)
    with pytest.raises(AddressRefusedError, match=inside):
        target("https://hooks.example.org/x", ("hooks.example.org",))
    assert target("https://hooks.example.org/x", ("hooks.example.org", f"{inside}/32"))


def test_plain_http_stays_inside(monkeypatch: pytest.MonkeyPatch) -> None:
    """To a public address https is needed; inside, the administrator may choose."""
    _resolve(monkeypatch, "93.184.216.34")
    with pytest.raises(AddressRefusedError, match="https"):
        target("http://hooks.example.org/x", ("hooks.example.org",))
    _resolve(monkeypatch, "10.1.2.3")
    assert target("http://shop.example.org/x", ("10.0.0.0/8",)).scheme == "http"


@pytest.mark.parametrize(
    "url",
    [
        "ftp://127.0.0.1/", "file:///etc/passwd", "//127.0.0.1/", "http:///x", "http://u:p@127.0.0.1/",
        "http://127.0.0.1/#x", "http://127.0.0.1:0/", "http://127.0.0.1:99999/", "http://[::1/",
        "http://127.0.0.1/a b", "http://127.0.0.1/\r\nX: y", "gopher://127.0.0.1/", "nothing",
    ],
)  # fmt: skip
def test_what_is_no_plain_url_is_refused(url: str) -> None:
    """Other schemes, credentials, odd ports and line ends are refused even to an allowed host."""
    with pytest.raises(AddressRefusedError):
        target(url, ("127.0.0.0/8",))
