"""A caller that sends or takes nothing for too long is cut off, so that it holds no thread."""

import logging
import socket
import threading
import time
from typing import Any

from api import strict_json

STALL_SECONDS = 30.0  # for one line to come, or one answer to go
_log = logging.getLogger("threewire.api")


class Watch:
    """Shuts a connection when ``progress`` has not been called for so many seconds.

    Works on what blocks in the server's own reading and sending, where no timeout reaches: a
    reader of drops resets any timeout of the socket with each of them.
    """

    def __init__(self, connection: socket.socket | None, seconds: float, request_id: str) -> None:
        self._connection = connection
        self._seconds = seconds
        self._request_id = request_id
        self._last = time.monotonic()
        self._done = threading.Event()

    def __enter__(self) -> "Watch":
        if self._connection is not None:
            threading.Thread(target=self._look, name="batch-watch", daemon=True).start()
        return self

    def __exit__(self, *_: Any) -> None:
        self._done.set()

    def progress(self) -> None:
        """Say that a line came or an answer went."""
        self._last = time.monotonic()

    def _look(self) -> None:
        assert self._connection is not None  # __enter__ saw to it
        while not self._done.wait(min(1.0, self._seconds / 4)):
            if time.monotonic() - self._last > self._seconds:
                line = {"request_id": self._request_id, "error": "batch stalled; cut off"}
                _log.warning(strict_json.dumps(line).rstrip())
                try:
                    self._connection.shutdown(socket.SHUT_RDWR)
                except OSError:  # it has gone by itself meanwhile
                    return
                return
