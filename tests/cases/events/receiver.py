"""A real HTTP server that takes events and answers as a test wants it to."""

import ssl
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any


@dataclass
class Receiver:
    """What came, in order, and what is answered next (200 when nothing is said)."""

    port: int = 0
    bodies: list[bytes] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    statuses: deque[int] = field(default_factory=deque)
    answer_headers: dict[str, str] = field(default_factory=dict)
    hold: threading.Event = field(default_factory=threading.Event)  # clear: answers nobody

    def __post_init__(self) -> None:
        self.hold.set()

    @property
    def url(self) -> str:
        """The address, for plain HTTP."""
        return f"http://127.0.0.1:{self.port}/hook"


def _handler(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.bodies.append(body)
            receiver.headers.append({name.lower(): value for name, value in self.headers.items()})
            receiver.paths.append(self.path)
            receiver.hold.wait(30)
            self.send_response(receiver.statuses.popleft() if receiver.statuses else 200)
            for name, value in receiver.answer_headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_GET = do_POST  # noqa: N815 - as the library wants it

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    return Handler


@contextmanager
def serving(certificate: Path | None = None) -> Iterator[Receiver]:
    """Run a receiver on a free port; with a certificate (and its key in one file) over TLS."""
    receiver = Receiver()
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(receiver))
    server.daemon_threads = True
    server.handle_error = lambda *_: None  # type: ignore[method-assign]  # callers hang up here
    if certificate:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    receiver.port = server.server_address[1]
    threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
    try:
        yield receiver
    finally:
        receiver.hold.set()
        server.shutdown()
        server.server_close()
