"""A gunicorn worker that slow clients cannot hold: one loop reads and writes for all of them.

The loop, the parser and the threads are waitress's; gunicorn keeps processes, signals and sockets.
A thread gets a request once it is whole, so that a client that drips holds nobody else up. Of the
paths in STREAMED the thread reads the body while it comes, and answers meanwhile.

A client may keep the service waiting for GRACE_SECONDS, and one second more for each BYTES_A_SECOND
that it has sent; an answer that it does not take is given up after SEND_SECONDS.
"""

import gc
import io
import logging
import os
import socket
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable
from copy import copy
from typing import Any

from gunicorn.workers.base import Worker  # type: ignore[import-untyped]
from waitress import wasyncore  # type: ignore[import-untyped]
from waitress.adjustments import Adjustments  # type: ignore[import-untyped]
from waitress.channel import HTTPChannel  # type: ignore[import-untyped]
from waitress.parser import HTTPRequestParser  # type: ignore[import-untyped]
from waitress.server import TcpWSGIServer  # type: ignore[import-untyped]
from waitress.task import (  # type: ignore[import-untyped]
    ErrorTask,
    ThreadedTaskDispatcher,
    WSGITask,
)

from api import strict_json
from api.answers import problems
from api.answers.answering import MAX_BYTES
from api.logs import LogLine

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


SEND_SECONDS = 30.0
IDLE_SECONDS = 75  # longer than a proxy keeps its connections, so that it is never surprised
LINGER_SECONDS = 2.0
MAX_HEADER_BYTES = 32 * 1024
STREAMED = ("/v1/diagnoses/batch", "/v1/cases/import", "/v1/traces")
AT_ONCE = ("/healthz",)  # answered in the loop: a worker whose threads are all busy is alive
_HELD_BYTES = 64 * 1024  # of a streamed body, until it is read
_TURN_SECONDS = 0.5
# Whoever waits for an answer does not wait for the collector (a millisecond of each, nine of some):
# it looks when nothing came for a while. So many new objects are several answers, and no leak.
COLLECT_SECONDS = 0.15
COLLECT_FROM, COLLECT_AT_ONCE = 700, 20_000
_log = logging.getLogger("threewire.server")


class Parser(HTTPRequestParser):  # type: ignore[misc]  # waitress carries no types
    """Reads one request; ``body`` is that of a streamed one, which no limit but its own holds."""

    adj: Any
    error: Any
    body: StreamedBody | None = None

    def parse_header(self, header_plus: bytes) -> None:
        """Read the header; of a streamed request, prepare for its body."""
        super().parse_header(header_plus)
        if self.path in STREAMED and self.body_rcv is not None:
            self.adj = copy(self.adj)
            self.adj.max_request_body_size = float("inf")
            self.headers["CONNECTION"] = "close"  # what is left unread is never the next request
            self.body = self.body_rcv.buf = StreamedBody()

    def received(self, data: bytes) -> int:
        """Take what came and return how much of it belongs to this request."""
        consumed = int(super().received(data))
        if self.body is not None and self.completed:
            self.body.end(whole=self.error is None)
            self.error = None  # whoever reads the body answers it
        return consumed


class Task(WSGITask):  # type: ignore[misc]
    """One request's way through the application."""

    def set_close_on_finish(self) -> None:
        """Close after the answer, and say so, but not to who still sends: it may stop at that."""
        if self.request.body is None:
            super().set_close_on_finish()
        self.close_on_finish = True


class NotHttp(ErrorTask):  # type: ignore[misc]
    """The answer to what is no HTTP, or too large: a problem document, and a line in the log."""

    def execute(self) -> None:
        """Write the answer; of what was sent, nothing."""
        error, identity = self.request.error, uuid.uuid4().hex
        address, kind = self.channel.addr[0], type(error).__name__
        _log.warning(LogLine(event="not-http", address=address, error=kind, request_id=identity))
        problem = problems.document(error.code) | {"request_id": identity}
        body = strict_json.dumps(problem).encode()
        self.status = f"{error.code} {error.reason}"
        self.response_headers = [
            ("Content-Type", problems.MEDIA_TYPE),
            ("X-Request-Id", identity),
        ]
        self.content_length = len(body)
        self.set_close_on_finish()
        self.write(body)


class Channel(HTTPChannel):  # type: ignore[misc]
    """One client's connection."""

    request: Any  # a Parser, while its request is not whole
    parser_class = Parser
    task_class = Task
    error_task_class = NotHttp
    _streamed: Parser | None = None  # the request whose body still comes
    _began: float | None = None  # when the request that is not whole yet began to come
    _lingers_until = 0.0  # an end was told and the client is given this long to see it

    def received(self, data: bytes) -> None:
        """Take what came: hand whole requests, and the beginning of streamed ones, to a thread."""
        if self._streamed is not None:
            self._streamed.received(data)
            if self._streamed.completed:
                self._streamed = None
            return
        if self.request is None:
            self._began = time.time()
        super().received(data)
        if self.request is not None and self.request.body is not None:
            self._stream()

    def _stream(self) -> None:
        with self.requests_lock:
            self._streamed, self.request = self.request, None
            assert self._streamed is not None
            assert self._streamed.body is not None
            self._streamed.body.wake = self.server.pull_trigger
            self.requests.append(self._streamed)
            if len(self.requests) == 1:  # else it follows when those before it are answered
                self.server.add_task(self)

    def readable(self) -> bool:
        """Return whether the loop should read: of a streamed body no more than there is room."""
        if self._lingers_until:
            return True
        if self._streamed is None or self.will_close or self.close_when_flushed:
            return bool(super().readable())
        return self._streamed.body is not None and len(self._streamed.body) < _HELD_BYTES

    def writable(self) -> bool:
        """Return whether the loop should write."""
        return bool(not self._lingers_until and super().writable())

    def handle_read(self) -> None:
        """Read; a client that has sent the end of a streamed body early may still hear of it."""
        if self._lingers_until:
            self.recv(self.adj.recv_bytes)  # and closes at its end
        elif self._streamed is None:
            super().handle_read()
        elif data := self.socket.recv(self.adj.recv_bytes):
            self.last_activity = time.time()
            self.received(data)
        else:
            self._give_up_body()

    def _give_up_body(self) -> None:
        if self._streamed is not None and self._streamed.body is not None:
            self._streamed.body.end(whole=False)
        self._streamed = None

    def handle_close(self) -> None:
        """Tell the client the end, and close when it has seen it: else it may lose the answer."""
        self._give_up_body()
        if self.will_close and self.connected and not self._lingers_until:
            try:
                self.socket.shutdown(socket.SHUT_WR)
            except OSError:  # it is gone
                pass
            else:
                self._lingers_until = time.time() + LINGER_SECONDS
                return
        self.drop()

    def drop(self) -> None:
        """Close the connection now."""
        self._give_up_body()
        super().handle_close()

    def overdue(self, now: float) -> bool:
        """Return whether the client has kept the service waiting for too long."""
        if self._lingers_until:
            return now > self._lingers_until
        if self.total_outbufs_len:
            return now - float(self.last_activity) > SEND_SECONDS
        if self.requests:
            return False
        if self._began is None:
            return now - float(self.creation_time) > GRACE_SECONDS
        if self.request is None:
            return now - float(self.last_activity) > IDLE_SECONDS
        sent = self.request.header_bytes_received + self.request.body_bytes_received
        return bool(now - self._began > GRACE_SECONDS + sent / BYTES_A_SECOND)

    def busy(self) -> bool:
        """Return whether something is under way, or a request may be on its way to a new one."""
        under_way = self.request or self.requests or self.total_outbufs_len or self._lingers_until
        return bool(under_way) or self._began is None


class PatientListener(TcpWSGIServer):  # type: ignore[misc]
    """Accepts connections on a socket that gunicorn has opened."""

    channel_class = Channel

    def __init__(self, sock: socket.socket, **arguments: Any) -> None:
        about = (sock.family, sock.type, sock.proto, sock.getsockname())
        self.at_once: deque[Channel] = deque()
        super().__init__(_sock=sock, bind_socket=False, sockinfo=about, **arguments)

    def add_task(self, task: Channel) -> None:
        """Hand a channel's first request to a thread, or to the loop what it answers itself."""
        if getattr(task.requests[0], "path", "") in AT_ONCE:  # none, where it is no HTTP
            self.at_once.append(task)
        else:
            super().add_task(task)


class PatientWorker(Worker):  # type: ignore[misc]  # gunicorn carries no types
    """Runs the loop on gunicorn's sockets until it is told to stop, then ends what is under way."""

    def run(self) -> None:
        """Serve; return when the last request that had begun is answered."""
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # that some wait is no news
        gc.set_threshold(COLLECT_AT_ONCE)
        threads = ThreadedTaskDispatcher()
        threads.set_thread_count(self.cfg.threads)
        self._map: dict[int, Any] = {}
        common = {"map": self._map, "dispatcher": threads, "adj": _adjustments()}
        self._listeners = [
            PatientListener(one.sock, application=self.wsgi, **common) for one in self.sockets
        ]
        while self.alive and self.ppid == os.getppid():
            self._turn()
        for one in self._listeners:
            one.accepting = False
        while channels := self._channels():
            for channel in channels:
                if not channel.busy():
                    channel.drop()
            self._turn()
        threads.shutdown(timeout=1)
        for one in self._listeners:
            one.close()

    def _turn(self) -> None:
        self.notify()
        began, full = time.monotonic(), gc.get_count()[0] > COLLECT_FROM
        pause = COLLECT_SECONDS if full else _TURN_SECONDS
        wasyncore.loop(pause, use_poll=True, map=self._map, count=1)
        for listener in self._listeners:
            while listener.at_once:
                listener.at_once.popleft().service()
        now, channels = time.time(), self._channels()
        if full and time.monotonic() - began >= pause and not any(one.requests for one in channels):
            gc.collect(1)
        for channel in channels:
            if channel.overdue(now):
                channel.drop()

    def _channels(self) -> list[Channel]:
        return [one for listener in self._listeners for one in listener.active_channels.values()]


def _adjustments() -> Adjustments:
    return Adjustments(
        ident="",
        connection_limit=1000,
        channel_timeout=IDLE_SECONDS,
        recv_bytes=_HELD_BYTES,
        inbuf_overflow=2 * MAX_BYTES,
        outbuf_high_watermark=4 * _HELD_BYTES,
        max_request_header_size=MAX_HEADER_BYTES,
        max_request_body_size=MAX_BYTES + 1,
        log_socket_errors=False,
        # X-Forwarded headers are believed as the setting 'proxies' says, and by nobody else
        clear_untrusted_proxy_headers=False,
    )
