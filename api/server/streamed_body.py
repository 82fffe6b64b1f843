"""The body of a request while it comes: the loop puts in, a thread takes out."""

import io
import threading
import time
from collections.abc import Callable
from typing import Any

GRACE_SECONDS = 5.0
BYTES_A_SECOND = 5000


class StreamedBody(io.RawIOBase):
    """Bytes in the order in which they came; waitress's parser fills it as it does its buffers."""

    def __init__(self) -> None:
        self.wake: Callable[[], object] = bool  # called when something was taken out
        self._held = bytearray()
        self._came = threading.Condition()
        self._received, self._waited = 0, 0.0
        self._ended = self._whole = False

    def append(self, data: bytes) -> None:
        """Put in what came."""
        with self._came:
            self._held += data
            self._received += len(data)
            self._came.notify()

    def end(self, whole: bool) -> None:
        """Say that no more comes, and whether that was all of it."""
        with self._came:
            if not self._ended:
                self._ended, self._whole = True, whole
            self._came.notify()

    def __len__(self) -> int:
        return len(self._held)

    def __bool__(self) -> bool:
        return True

    def getfile(self) -> "StreamedBody":
        """Return what the application reads."""
        return self

    def readable(self) -> bool:
        """Return that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Take out what is there, at least one byte; 0 at the end.

        Raises ConnectionResetError when the client used up its time, or the body is not whole.
        """
        with self._came:
            start = time.monotonic()
            left = GRACE_SECONDS + self._received / BYTES_A_SECOND - self._waited
            self._came.wait_for(lambda: self._held or self._ended, max(left, 0.0))
            self._waited += time.monotonic() - start
            if not self._held and not self._whole:
                raise ConnectionResetError(
                    "the body ended early, is badly framed or came too slowly"
                )
            size = min(len(buffer), len(self._held))
            buffer[:size] = self._held[:size]
            del self._held[:size]
        self.wake()
        return size
