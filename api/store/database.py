"""One database behind one URL: connections, transactions, and what is tried again.

SQLite runs in WAL with synchronous FULL, so that what was acknowledged survives a power cut, and
takes its write lock when the transaction begins: two writers wait for each other instead of failing
half way. PostgreSQL runs its transactions at READ COMMITTED with row locks where they matter. What
nobody was told of yet need not wait for the disk: both write their log in order, so that the next
transaction that does wait takes it along.
"""

import logging
import secrets
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import URL, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.orm import Session

from api.logs import LogLine, fault
from api.settings import SettingsError
from api.store.models import Installation
from engine.knowledge.faults import Fault

_Result = TypeVar("_Result")
BUSY_SECONDS = 15  # how long a writer waits for another before the request is refused
WRITE_PROBE_SECONDS = 10.0
_PROBE_BYTES = 64 * 1024  # as much as a case's largest step
TRIES = 8  # of a transaction that lost against another one
_TRY_AGAIN = {"40001", "40P01"}  # PostgreSQL: serialization failure, deadlock


class StoreUnavailableError(Exception):
    """The database cannot be reached, is full, or takes no writes; nothing was kept."""


class Database:
    """Sessions on one database; safe to share between threads, made anew after a fork."""

    def __init__(self, url: str) -> None:
        self.url = read_url(url)
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        self.engine = _sqlite(self.url) if self.is_sqlite else _postgresql(self.url)
        self._written_at = float("-inf")
        self._writers = {
            lasting: self.engine.execution_options(writes=True, lasting=lasting)
            for lasting in (True, False)
        }
        # What one reading finds belongs together; SQLite's WAL gives that by itself.
        self._snapshots = (
            self.engine
            if self.is_sqlite
            else self.engine.execution_options(isolation_level="REPEATABLE READ")
        )

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Give a session that only reads, all of it of one moment. Raises StoreUnavailableError."""
        with _told(), Session(self._snapshots, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self, lasting: bool = True) -> Iterator[Session]:
        """Give a session that is committed at the end, or not at all.

        One that is not ``lasting`` does not wait for the disk: a power cut may undo it. Raises
        StoreUnavailableError when the database cannot be reached or takes no writes.
        """
        with (
            _told(),
            Session(self._writers[lasting], expire_on_commit=False) as session,
            session.begin(),
        ):
            yield session

    def write(self, work: Callable[[Session], _Result], lasting: bool = True) -> _Result:
        """Run ``work`` in a transaction of its own, again when it lost against another one.

        ``work`` may therefore run several times: what it does outside the session must bear that.
        ``lasting`` as in ``writing``.
        """
        for attempt in range(TRIES):
            try:
                with self.writing(lasting) as session:
                    return work(session)
            except _LostError:
                time.sleep(0.01 * 2**attempt)
        raise StoreUnavailableError("the database is too busy; nothing was kept")

    def ping(self) -> None:
        """Ask the database for an answer, now and then for a write. Raises StoreUnavailableError.

        A full disk still answers questions. Not every time: anybody may ask, and a write keeps
        other writers waiting.
        """
        with self.reading() as session:
            session.execute(text("SELECT 1"))
        if time.monotonic() - self._written_at > WRITE_PROBE_SECONDS:
            tried = Installation(name="write-probe", value=secrets.token_hex(_PROBE_BYTES // 2))
            self.write(lambda session: session.merge(tried))
            self._written_at = time.monotonic()

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()

    def forked(self) -> None:
        """Forget the connections of the parent process; they are not this one's to use."""
        self.engine.dispose(close=False)


class _LostError(Exception):
    """This transaction lost against another one and may be tried again."""


@contextmanager
def _told() -> Iterator[None]:
    """Turn what the driver says when the database is away into one exception, without its text.

    The driver's text may hold statements and values; the log gets its kind only.
    """
    try:
        yield
    except PoolTimeoutError as error:
        raise StoreUnavailableError("every connection is in use; nothing was kept") from error
    except DBAPIError as error:
        if getattr(error.orig, "sqlstate", None) in _TRY_AGAIN:
            raise _LostError from error
        if isinstance(error, OperationalError | InterfaceError):
            raise StoreUnavailableError(_reason(error)) from error
        raise


def _reason(error: DBAPIError) -> str:
    said = str(error.orig).lower()
    if "disk" in said or "full" in said or "no space" in said:
        return "the disk of the database is full or cannot be written; nothing was kept"
    if "readonly" in said or "read-only" in said:
        return "the database takes no writes; nothing was kept"
    if "locked" in said:
        return "the database is busy; nothing was kept"
    return "the database does not answer; nothing was kept"


def read_url(url: str) -> URL:
    """Return the URL with the driver used here. Raises SettingsError for any other database."""
    try:
        read = make_url(url)
    except ArgumentError:
        raise SettingsError([Fault("database", "is not a database URL")]) from None
    kind = read.get_backend_name()
    if kind == "sqlite":
        if not read.database or read.database == ":memory:":
            raise SettingsError([Fault("database", "an SQLite store needs a file")])
        return read.set(drivername="sqlite+pysqlite")
    if kind in ("postgresql", "postgres"):
        return read.set(drivername="postgresql+psycopg")
    raise SettingsError([Fault("database", f"'{kind}' is not kept here; sqlite or postgresql is")])


def _sqlite(url: URL) -> Engine:
    assert url.database is not None  # read_url saw to it
    Path(url.database).expanduser().absolute().parent.mkdir(0o700, parents=True, exist_ok=True)
    engine = create_engine(
        url, connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False},
        pool_size=8, max_overflow=24, pool_timeout=BUSY_SECONDS,
    )  # fmt: skip

    @event.listens_for(engine, "do_connect")
    def _before(*_: object) -> None:
        _keep_private(Path(str(url.database)))

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _: object) -> None:
        connection.isolation_level = None  # BEGIN is ours, see below
        _write_ahead(connection)
        for pragma in ("synchronous=FULL", "foreign_keys=ON", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        # A reader that turns writer half way fails when somebody wrote meanwhile: ask at once.
        asked = connection.get_execution_options()
        if asked.get("writes"):
            mode = "FULL" if asked.get("lasting", True) else "NORMAL"  # NORMAL syncs no commit
            connection.exec_driver_sql(f"PRAGMA synchronous={mode}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if asked.get("writes") else "BEGIN")

    return engine


def _write_ahead(connection: Any) -> None:
    """Let the store have a write-ahead log. For this alone SQLite does not wait until others, who
    open a new store at the same moment, have let go of it."""
    end = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL").close()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
        else:
            return
        time.sleep(0.02)


def _keep_private(file: Path) -> None:
    """Let nobody but its owner read the store: it holds the secrets of cookies and webhooks.

    SQLite gives the two files that it keeps beside it the mode of the first.
    """
    with suppress(OSError):  # SQLite says better what is wrong with the place
        if not file.exists():
            file.touch(mode=0o600)
    for one in (file, *(file.with_name(file.name + end) for end in ("-wal", "-shm"))):
        with suppress(FileNotFoundError, PermissionError):  # gone meanwhile, or another's
            if one.stat().st_mode & 0o077:
                one.chmod(0o600)


def _postgresql(url: URL) -> Engine:
    engine = create_engine(
        url, pool_size=8, max_overflow=24, pool_timeout=BUSY_SECONDS, pool_pre_ping=True,
        connect_args={"connect_timeout": 5, "application_name": "threewire"},
    )  # fmt: skip

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        if not connection.get_execution_options().get("lasting", True):
            connection.exec_driver_sql("SET LOCAL synchronous_commit TO off")

    return engine


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
                threading.Thread(target=self._answer, args=(answer,), daemon=True).start()
        try:
            return answer.result(seconds)
        except TimeoutError:
            return "the database does not answer"

    def _answer(self, answer: "Future[str | None]") -> None:
        try:
            self._ping()
        except StoreUnavailableError as error:
            answer.set_result(str(error))
        except Exception as error:  # whatever it is, nobody is to be sent here
            _log.error(LogLine({"event": "fault"} | fault(error)))
            answer.set_result("the question to the database failed")
        else:
            answer.set_result(None)
