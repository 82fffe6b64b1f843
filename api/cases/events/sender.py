"""Sends what is due: a thread beside the requests, which it never holds up.

At most one attempt at a time goes to each endpoint from a process, so a receiver that does not
answer keeps nothing from the others, and messages come in the order in which they were made while
all goes well. Across processes and after failures no order is promised; the timestamp tells.
"""

import logging
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from http import HTTPStatus

from flask import Flask

from api.cases import erasure
from api.cases.events import endpoints, posting, queue
from api.cases.events.posting import PostResult
from api.cases.events.queue import Taken
from api.logs import LogLine
from api.service import current
from api.store import Database, StoreUnavailableError
from api.store.models import Delivery, Endpoint

SLOTS = 4  # attempts under way at once, in each process
POLL_SECONDS = 1.0
_PRUNE_EVERY = 3600  # looks that found nothing to do
_log = logging.getLogger("threewire.events")


class Sender:
    """Sends the due deliveries of one database."""

    def __init__(
        self, database: Database, allowed: Sequence[str],
        now: Callable[[], datetime] = lambda: datetime.now(UTC), retention_days: int = 0,
    ) -> None:  # fmt: skip
        self._database = database
        self._allowed = allowed
        self._now = now
        self._retention = timedelta(days=retention_days)
        self._busy: set[str] = set()
        self._slots = threading.Semaphore(SLOTS)
        self._stopping = threading.Event()
        self._wake = threading.Event()  # an endpoint has become free, or it is time to stop
        self._thread = threading.Thread(target=self._loop, name="events", daemon=True)

    def start(self) -> None:
        """Send what is due from now on, in a thread of its own."""
        self._thread.start()

    def stop(self, seconds: float) -> None:
        """Begin no more attempts, and wait so long for those under way.

        One that is cut off is made again later: its lease runs out.
        """
        self._stopping.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(seconds)
        for _ in range(SLOTS):
            self._slots.acquire(timeout=max(0.0, seconds / SLOTS))

    def deliver_due(self) -> Counter[str]:
        """Send everything that is due, one after the other; returns how the attempts ended."""
        ended: Counter[str] = Counter()
        while not self._stopping.is_set() and (taken := queue.take(self._database, self._now())):
            ended[self._attempt(*taken)] += 1
        return ended

    def _loop(self) -> None:
        idle = 0
        while not self._stopping.is_set():
            self._wake.clear()  # before looking: what becomes free meanwhile is not overlooked
            try:
                if self._begin_one():
                    continue
                idle += 1
                if idle % _PRUNE_EVERY == 1:  # throw away what has been kept for long enough
                    queue.prune(self._database, self._now())
                    if self._retention:
                        since = (self._now() - self._retention).date().isoformat()
                        erasure.forget(self._database, since)
            except StoreUnavailableError as error:
                _say(logging.WARNING, "the event queue cannot be read", reason=str(error))
            except Exception as error:  # whatever it was, the next event may still get through
                _say(logging.ERROR, "the event sender failed", error=type(error).__name__)
            self._wake.wait(POLL_SECONDS)

    def _begin_one(self) -> bool:
        """Begin one attempt in a thread; False when nothing is due or every slot is taken."""
        if not self._slots.acquire(timeout=POLL_SECONDS):
            return False
        taken = None
        try:
            taken = queue.take(self._database, self._now(), tuple(self._busy))
            if taken is not None:
                self._busy.add(taken[0].endpoint_id)
                threading.Thread(target=self._run, args=(taken,), daemon=True).start()
        finally:
            if taken is None:
                self._slots.release()
        return taken is not None

    def _run(self, taken: Taken) -> None:
        try:
            self._attempt(*taken)
        except StoreUnavailableError as error:  # the lease runs out and it is sent again
            _say(logging.WARNING, "how an event ended could not be kept", reason=str(error))
        except Exception as error:
            _say(logging.ERROR, "the event sender failed", error=type(error).__name__)
        finally:
            self._busy.discard(taken[0].endpoint_id)
            self._slots.release()
            self._wake.set()

    def _attempt(self, delivery: Delivery, endpoint: Endpoint) -> str:
        """Make one attempt and keep how it ended; returns that in a word."""
        result = self._send(delivery, endpoint)
        about = {"endpoint": endpoint.id, "message": delivery.message,
                 "attempt": delivery.attempts, "result": result.words}  # fmt: skip
        if result.good:
            queue.delivered(self._database, delivery, result.words)
            return "delivered"
        if result.status == HTTPStatus.GONE:
            why = "the endpoint answered 410, so it was disabled"
            self._database.write(
                lambda session: endpoints.disable(session, endpoint.id, self._now(), why)
            )
            _say(logging.ERROR, "an endpoint says it is gone and was disabled", **about)
            return "given up"
        if queue.failed(self._database, delivery, result.words, self._now(), result.retry_after):
            _say(logging.WARNING, "an event did not get through yet", **about)
            return "to be sent again"
        _say(logging.ERROR, "an event was given up", **about)
        return "given up"

    def _send(self, delivery: Delivery, endpoint: Endpoint) -> PostResult:
        try:
            leads_to = posting.target(endpoint.url, self._allowed)
        except posting.AddressRefusedError as error:
            return PostResult(0, f"refused: {error}")
        now = self._now()
        secrets = endpoints.secrets_of(endpoint, now)
        signed = posting.headers(secrets, delivery.message, delivery.payload, now)
        return posting.post(leads_to, signed, delivery.payload)


def _say(level: int, event: str, **fields: object) -> None:
    """Log what happened: ids and words, nothing of a message and no URL."""
    _log.log(level, LogLine(event=event, **fields))


_running: list[Sender] = []  # of this process


def start(app: Flask) -> None:
    """Send events from this process from now on; call it in each worker, after the fork.

    Does nothing when the service has no store, or a sender runs already.
    """
    with app.app_context():
        service = current()
    if service.database is not None and not _running:
        told = service.settings
        _running.append(
            Sender(service.database, told.webhook_allow, retention_days=told.retention_days)
        )
        _running[0].start()


def stop(seconds: float = 5.0) -> None:
    """Stop sending from this process; what is not done is done later by another."""
    while _running:
        with suppress(RuntimeError):  # the interpreter is on its way out
            _running.pop().stop(seconds)
