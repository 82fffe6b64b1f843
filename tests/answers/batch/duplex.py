"""A client that sends a batch and reads its answers at the same time, with the standard library."""

import http.client
import threading
from collections.abc import Iterable, Iterator
from contextlib import suppress


def exchange(
    port: int, lines: Iterable[bytes], seconds: float = 120
) -> tuple[http.client.HTTPResponse, Iterator[bytes]]:
    """Send lines in chunks from a thread; return the response and its lines as they come."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=seconds)
    connection.putrequest("POST", "/v1/diagnoses/batch")
    connection.putheader("Content-Type", "application/x-ndjson")
    connection.putheader("Transfer-Encoding", "chunked")
    connection.endheaders()

    def send() -> None:
        with suppress(OSError):  # the service has had enough
            for line in lines:
                if line:
                    connection.send(b"%x\r\n%b\r\n" % (len(line), line))
            connection.send(b"0\r\n\r\n")

    threading.Thread(target=send, daemon=True).start()
    response = connection.getresponse()
    return response, _lines(response, connection)


def _lines(
    response: http.client.HTTPResponse, connection: http.client.HTTPConnection
) -> Iterator[bytes]:
    try:
        yield from response
    finally:
        connection.close()
