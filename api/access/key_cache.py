"""The keys in force, read from the store every few seconds and not for every request.

A revoked key is therefore refused within ``FRESH_SECONDS``. While the store does not answer, the
keys last read stay good for ``STALE_SECONDS``: a diagnosis needs no store, and nobody can revoke a
key in a store that is away.
"""

import threading
import time
from contextlib import suppress
from dataclasses import dataclass

from sqlalchemy import select

from api.access import keys
from api.access.roles import Caller
from api.store import Database, StoreUnavailableError
from api.store.models import Installation

FRESH_SECONDS = 3.0
MISS_SECONDS = 0.2  # a key that is not known may be new: then the keys are read anew this soon
STALE_SECONDS = 600.0
ENDED = "ended "  # before the name of a session that was signed out
_NOBODY = keys.digest("")  # compared with where there is no such key, so that it takes as long


@dataclass(frozen=True)
class _Held:
    digest: str
    caller: Caller


class KeyCache:
    """The keys of one store, as this process last saw them."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._held: dict[str, _Held] | None = None
        self._ended: frozenset[str] = frozenset()
        self._read_at = self._tried_at = float("-inf")
        self._lock = threading.Lock()

    def warm(self) -> None:
        """Read the keys before the first request: it may come when the store is away."""
        with suppress(StoreUnavailableError):
            self._read()
        self._tried_at = float("-inf")  # a key that is made in the same moment is good at once

    def find(self, key: str) -> Caller | None:
        """Return whose key this is, or None. Raises StoreUnavailableError."""
        parts = keys.split(key)
        if parts is None:
            return None
        identity, secret = parts
        held = self._keys().get(identity) or self._keys(MISS_SECONDS).get(identity)
        same = keys.matches(held.digest if held else _NOBODY, secret)
        return held.caller if held and same else None

    def by_id(self, identity: str) -> Caller | None:
        """Return whose key this id names while it is in force. Raises StoreUnavailableError."""
        held = self._keys().get(identity)
        return held.caller if held else None

    def has_ended(self, session: str) -> bool:
        """Return whether a session was signed out. Raises StoreUnavailableError."""
        self._keys()
        return session in self._ended

    def is_empty(self) -> bool:
        """Return whether no key is in force. Raises StoreUnavailableError."""
        return not self._keys()

    def _keys(self, fresh: float = FRESH_SECONDS) -> dict[str, _Held]:
        """Return the keys, read at most ``fresh`` seconds ago.

        One thread reads them anew; the others go on with what there is.
        """
        held = self._held
        if held is not None and time.monotonic() - self._tried_at < fresh:
            return held
        if not self._lock.acquire(blocking=held is None):
            assert held is not None  # only then is it not waited for
            return held
        try:
            if time.monotonic() - self._tried_at >= fresh or self._held is None:
                self._read()
            assert self._held is not None  # _read raises where there is nothing to go on with
            return self._held
        finally:
            self._lock.release()

    def _read(self) -> None:
        try:
            with self._database.reading() as session:
                rows = keys.in_force(session)
                ended = select(Installation.name).where(Installation.name.startswith(ENDED))
                gone = session.scalars(ended).all()
        except StoreUnavailableError:
            if self._held is None or time.monotonic() - self._read_at > STALE_SECONDS:
                raise
        else:
            self._held = {
                row.id: _Held(row.digest, Caller(row.id, row.name, row.role)) for row in rows
            }
            self._ended = frozenset(one.removeprefix(ENDED) for one in gone)
            self._read_at = time.monotonic()
        finally:
            self._tried_at = time.monotonic()
