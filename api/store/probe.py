"""One question to the database under way at a time, and nobody who waits for it without end."""

import logging
import threading
from collections.abc import Callable

from api.logs import Line, fault
from api.store import StoreUnavailableError

_log = logging.getLogger("threewire.api")


class Probe:
    """Asks ``ping`` in a thread; whoever asks meanwhile waits for the same answer."""

    def __init__(self, ping: Callable[[], None]) -> None:
        self._ping = ping
        self._lock = threading.Lock()
        self._under_way: _Answer | None = None

    def ask(self, seconds: float) -> str | None:
        """Return None when the database answers, else what is wrong, within ``seconds``."""
        with self._lock:
            answer = self._under_way
            if answer is None or answer.given.is_set():
                answer = self._under_way = _Answer(self._ping)
                threading.Thread(target=answer.fetch, name="probe", daemon=True).start()
        if not answer.given.wait(seconds):
            return "the database does not answer"
        return answer.because


class _Answer:
    """The answer to one question, once it is given."""

    def __init__(self, ping: Callable[[], None]) -> None:
        self.given = threading.Event()
        self.because: str | None = "the question to the database failed"
        self._ping = ping

    def fetch(self) -> None:
        """Ask, and keep what came back."""
        try:
            self._ping()
            self.because = None
        except StoreUnavailableError as error:
            self.because = str(error)
        except Exception as error:  # whatever it is, nobody is to be sent here
            _log.error(Line({"event": "fault"} | fault(error)))
        finally:
            self.given.set()
