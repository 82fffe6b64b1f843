"""The connection goes to the checked address, speaks to the named host, and ends in time."""

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from api.cases.events import posting
from api.cases.events.posting import PostTarget, target
from tests.cases.events.receiver import Receiver, serving


@pytest.fixture
def secure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Receiver]:
    """A receiver over TLS whose certificate is for hooks.example.org, trusted in this test."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl makes the certificate")
    file = tmp_path / "both.pem"
    subprocess.run(
        [
            "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
            "-nodes", "-days", "2", "-subj", "/CN=hooks.example.org",
            "-addext", "subjectAltName=DNS:hooks.example.org",
            "-keyout", file, "-out", f"{file}.crt",
        ],
        check=True, capture_output=True,
    )  # fmt: skip
    certificate = Path(f"{file}.crt").read_text()
    file.write_text(file.read_text() + certificate)
    monkeypatch.setenv("SSL_CERT_FILE", f"{file}.crt")
    with serving(file) as receiver:
        yield receiver


def test_a_second_look_up_changes_nothing(
    secure: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The name is looked up once; the connection goes where the check was, with the host's name
    in the handshake, in the certificate's check and in the Host header."""
    asked = []

    def rebinding(host: str, port: int, *_: Any, **__: Any) -> list[Any]:
        asked.append(host)
        address = "127.0.0.1" if len(asked) == 1 else "169.254.169.254"
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))]

    with monkeypatch.context() as patched:
        patched.setattr(socket, "getaddrinfo", rebinding)
        url = f"https://hooks.example.org:{secure.port}/hook?shop=7"
        found = target(url, ("127.0.0.0/8",))
    result = posting.post(found, {"webhook-id": "msg_1"}, "{}")
    assert result.good, result
    assert asked == ["hooks.example.org"]
    assert secure.headers[0]["host"] == f"hooks.example.org:{secure.port}"
    assert secure.paths == ["/hook?shop=7"]


@pytest.mark.parametrize("host", ["other.example.org", "127.0.0.1"])
def test_another_name_in_the_certificate_is_refused(secure: Receiver, host: str) -> None:
    """Whoever cannot show a certificate for the host of the URL gets nothing."""
    found = PostTarget("https", host, secure.port, "/hook", ("127.0.0.1",))
    result = posting.post(found, {}, "{}")
    assert result.status == 0
    assert "CertificateError" in result.words
    assert not secure.bodies


def test_a_certificate_that_nobody_trusts_is_refused(
    secure: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A certificate that its maker signed himself is not taken by default."""
    monkeypatch.delenv("SSL_CERT_FILE")
    found = PostTarget("https", "hooks.example.org", secure.port, "/hook", ("127.0.0.1",))
    assert posting.post(found, {}, "{}").status == 0
    assert not secure.bodies


def test_the_next_address_is_tried(secure: Receiver) -> None:
    """A host with two checked addresses is reached by the second when the first is dead."""
    addresses = ("127.0.0.2", "127.0.0.1")
    found = PostTarget("https", "hooks.example.org", secure.port, "/hook", addresses)
    assert posting.post(found, {}, "{}").good


def test_a_proxy_of_the_environment_is_not_used(
    receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A proxy would resolve and call for us, past every check: none is used."""
    with serving() as proxy:
        for name in ("http_proxy", "HTTP_PROXY", "ALL_PROXY"):
            monkeypatch.setenv(name, f"http://127.0.0.1:{proxy.port}")
        assert posting.post(target(receiver.url, ("127.0.0.0/8",)), {}, "{}").good
        assert not proxy.bodies


def _dripping(listener: socket.socket, done: threading.Event) -> None:
    connection, _ = listener.accept()
    with closing(connection):
        while not done.wait(0.05):
            try:
                connection.sendall(b"H")
            except OSError:
                return


def test_an_answer_in_drops_is_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """A receiver that sends a byte now and then keeps no timeout waiting for ever."""
    monkeypatch.setattr(posting, "WHOLE_SECONDS", 0.3)
    done = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        threading.Thread(target=_dripping, args=(listener, done), daemon=True).start()
        url = f"http://127.0.0.1:{listener.getsockname()[1]}/"
        started = time.monotonic()
        result = posting.post(target(url, ("127.0.0.0/8",)), {}, "{}")
        done.set()
    assert result.status == 0
    assert time.monotonic() - started < 10


@pytest.mark.parametrize("answer", [b"", b"nonsense\r\n\r\n", b"HTTP/1.1 abc\r\n\r\n"])
def test_nonsense_is_a_failure_and_no_more(answer: bytes) -> None:
    """Whatever a receiver says, the attempt ends as a failure in words."""

    def talk(listener: socket.socket) -> None:
        connection, _ = listener.accept()
        with closing(connection):
            connection.recv(4096)
            connection.sendall(answer)

    with socket.create_server(("127.0.0.1", 0)) as listener:
        threading.Thread(target=talk, args=(listener,), daemon=True).start()
        url = f"http://127.0.0.1:{listener.getsockname()[1]}/"
        result = posting.post(target(url, ("127.0.0.0/8",)), {}, "{}")
    assert result.status == 0
    assert result.words.startswith("no answer")
