"""A gunicorn worker that slow clients cannot hold.

A thread that waits for a client serves nobody else, and gunicorn's threaded worker waits without
end. Here a client may keep a thread waiting for GRACE_SECONDS, and one second more for each
BYTES_A_SECOND that it has sent; an answer that it does not take is given up after SEND_SECONDS.

gunicorn lets a connection that it closes linger for up to two seconds, so that the client sees the
end of the answer; it does so in the one thread that accepts connections and shows that the worker
is alive. Here other threads do that.
"""

import errno
import socket
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from gunicorn.util import close_graceful  # type: ignore[import-untyped]
from gunicorn.workers.gthread import TConn, ThreadWorker  # type: ignore[import-untyped]

GRACE_SECONDS = 5.0
BYTES_A_SECOND = 5000
SEND_SECONDS = 30.0
CLOSERS = 8
MOST_LINGERING = 64


class PatientSocket(socket.socket):
    """A client's socket that counts how long its reader had to wait in this request."""

    _waited = 0.0
    _received = 0

    def setblocking(self, flag: bool) -> None:
        """Go into blocking mode, as the worker does once a request, and start counting anew."""
        self._waited, self._received = 0.0, 0
        super().setblocking(flag)

    def recv(self, bufsize: int, flags: int = 0) -> bytes:
        """Receive as a socket does; ConnectionResetError when the client used up its time."""
        if self.gettimeout() is not None:  # not in blocking mode: somebody else keeps the time
            return super().recv(bufsize, flags)
        left = GRACE_SECONDS + self._received / BYTES_A_SECOND - self._waited
        start = time.monotonic()
        self.settimeout(max(left, 0.001))
        try:
            data = super().recv(bufsize, flags)
        except TimeoutError:
            # the kind of error that gunicorn takes for a client that went away, without a traceback
            raise ConnectionResetError(errno.ECONNRESET, "the client is too slow") from None
        finally:
            super().setblocking(True)
        self._waited += time.monotonic() - start
        self._received += len(data)
        return data

    def sendall(self, data: Any, flags: int = 0) -> None:
        """Send as a socket does; ConnectionResetError when the client does not take it in time."""
        self.settimeout(SEND_SECONDS)
        try:
            super().sendall(data, flags)
        except TimeoutError:
            raise ConnectionResetError(errno.ECONNRESET, "the client takes no answer") from None
        finally:
            super().setblocking(True)


class PatientConnection(TConn):  # type: ignore[misc]  # gunicorn carries no types
    """A connection that lingers, when it is closed, in a thread of its worker's closers."""

    def __init__(self, closers: ThreadPoolExecutor, *arguments: Any) -> None:
        super().__init__(*arguments)
        self._closers = closers

    def close(self, graceful: bool = False) -> None:
        """Close the connection; at once when so many linger that threads would run out."""
        if graceful and self._closers._work_queue.qsize() < MOST_LINGERING:
            self.sock.setblocking(True)
            self._closers.submit(close_graceful, self.sock)
        else:
            super().close()


class PatientWorker(ThreadWorker):  # type: ignore[misc]  # gunicorn carries no types
    """gunicorn's threaded worker, on sockets with limited patience."""

    def init_process(self) -> None:
        """Make the closers, in the worker's own process, and run."""
        self._closers = ThreadPoolExecutor(CLOSERS, "closer")
        super().init_process()

    def accept(self, listener: socket.socket) -> None:
        """Accept one connection and hand it to a thread."""
        try:
            accepted, address = listener.accept()
        except OSError as error:
            if error.errno not in (errno.EAGAIN, errno.ECONNABORTED, errno.EWOULDBLOCK):
                raise
            return
        self.nr_conns += 1
        client = PatientSocket(fileno=accepted.detach())
        client.setblocking(True)
        name = listener.getsockname()
        self.enqueue_req(PatientConnection(self._closers, self.cfg, client, address, name))
