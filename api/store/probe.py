"""One question to the database under way at a time, and nobody who waits for it without end."""

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future

from api.logs import LogLine, fault
from api.store import StoreUnavailableError

_log = logging.getLogger("threewire.api")


class Probe:
    """Asks ``ping`` in a thread; whoever asks meanwhile waits for the same answer."""

    def __init__(self, ping: Callable[[], None]) -> None:
        self._ping = ping
        self._lock = threading.Lock()
        self._under_way: Future[str | None] | None = None

    def ask(self, seconds: float) -> str | None:
        """Return None when the database answers, else what is wrong, within ``seconds``."""
        with self._lock:
            answer = self._under_way
            if answer is None or answer.done():
                answer = self._under_way = Future()
                # not an executor's thread: the end of the process waits for those
                threading.Thread(target=self._fetch, args=(answer,), daemon=True).start()
        try:
            return answer.result(seconds)
        except TimeoutError:
            return "the database does not answer"

    def _fetch(self, answer: "Future[str | None]") -> None:
        answer.set_result(self._said())

    def _said(self) -> str | None:
        try:
            self._ping()
        except StoreUnavailableError as error:
            return str(error)
        except Exception as error:  # whatever it is, nobody is to be sent here
            _log.error(LogLine({"event": "fault"} | fault(error)))
            return "the question to the database failed"
        return None
