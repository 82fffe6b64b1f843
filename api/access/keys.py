"""API keys: ``tw_``, a part that names the key, and a secret of 160 random bits.

Of the secret only its SHA-256 is kept. A slow hash is for words that people choose; nobody guesses
160 random bits, and a caller's every request is checked.

The keys in force are read from the store every few seconds: a revoked one is refused within
``FRESH_SECONDS``. While the store does not answer, those last read stay good for ``STALE_SECONDS``:
a diagnosis needs no store, and nobody can revoke a key in a store that is away.
"""

import base64
import hashlib
import hmac
import re
import secrets
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.access import ROLES, Caller
from api.store import Database, StoreUnavailableError
from api.store.models import ApiKey, Installation

FRESH_SECONDS = 3.0
MISS_SECONDS = 0.2  # a key that is not known may be new: then the keys are read anew this soon
STALE_SECONDS = 600.0
ENDED = "ended "  # before the name of a session that was signed out
_FORM = re.compile(r"tw_([a-z2-7]{8})_([a-z2-7]{32})", re.ASCII)
_NAME = re.compile(r"[^\W_](?:[\w .,&'()/-]{0,58}[\w.)])?")


def split(key: str) -> tuple[str, str] | None:
    """Return the id and the secret of a key, or None for a text that is no key."""
    found = _FORM.fullmatch(key)
    return (found[1], found[2]) if found else None


def digest(secret: str) -> str:
    """Return what is kept of a secret: its SHA-256, hexadecimal."""
    return hashlib.sha256(secret.encode()).hexdigest()


def matches(kept: str, secret: str) -> bool:
    """Return whether a secret is the one that ``kept`` is the digest of, in constant time."""
    return hmac.compare_digest(kept, digest(secret))


def good_name(name: str) -> bool:
    """Return whether a name fits into cases and logs: 1 to 60 letters, digits, plain signs."""
    return _NAME.fullmatch(name) is not None


def make(session: Session, name: str, role: str) -> tuple[ApiKey, str]:
    """Add a key and return it with its text, which is nowhere kept and cannot be shown again."""
    identity, secret = _random(5), _random(20)
    return _add(session, identity, secret, name, role), f"tw_{identity}_{secret}"


def _add(session: Session, identity: str, secret: str, name: str, role: str) -> ApiKey:
    row = ApiKey(
        id=identity, name=name, role=role, digest=digest(secret), made_at=datetime.now(UTC),
        revoked_at=None,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row


def put(session: Session, lines: str) -> int:
    """Put keys in force that somebody else made up; returns how many are new.

    ``lines`` has one a line: its role, the key (``tw_``, eight and thirty-two letters a-z or digits
    2-7, at random) and a name. One that was revoked stays so. Raises ValueError that names the
    line, and never what stands in it.
    """
    new = 0
    for number, line in enumerate(lines.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        role, key, name = (*line.split(None, 2), "", "", "")[:3]
        parts = split(key)
        if role not in ROLES[1:] or parts is None or not good_name(name.strip()):
            raise ValueError(f"line {number} is no role, key and name")
        if session.get(ApiKey, parts[0]) is None:
            _add(session, *parts, name.strip(), role)
            new += 1
    return new


def _random(size: int) -> str:
    return base64.b32encode(secrets.token_bytes(size)).decode().rstrip("=").lower()


def revoke(session: Session, identity: str) -> ApiKey | None:
    """Take a key out of force and return it; None where there is none. It stays in the list."""
    row = session.get(ApiKey, identity)
    if row is not None and row.revoked_at is None:
        row.revoked_at = datetime.now(UTC)
    return row


def listed(session: Session) -> Sequence[ApiKey]:
    """Return every key that was ever made, oldest first."""
    return session.scalars(select(ApiKey).order_by(ApiKey.made_at, ApiKey.id)).all()


def any_in_force(session: Session) -> bool:
    """Return whether there is a key that is not revoked."""
    query = select(func.count()).select_from(ApiKey).where(ApiKey.revoked_at.is_(None))
    return bool(session.scalar(query))


_NOBODY = digest("")  # compared with where there is no such key, so that it takes as long


class KeyCache:
    """The keys of one store, as this process last saw them."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._held: dict[str, ApiKey] | None = None
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
        parts = split(key)
        if parts is None:
            return None
        identity, secret = parts
        held = self._keys().get(identity) or self._keys(MISS_SECONDS).get(identity)
        same = matches(held.digest if held else _NOBODY, secret)
        return _caller(held) if same else None

    def by_id(self, identity: str) -> Caller | None:
        """Return whose key this id names while it is in force. Raises StoreUnavailableError."""
        return _caller(self._keys().get(identity))

    def has_ended(self, session: str) -> bool:
        """Return whether a session was signed out. Raises StoreUnavailableError."""
        self._keys()
        return session in self._ended

    def is_empty(self) -> bool:
        """Return whether no key is in force. Raises StoreUnavailableError."""
        return not self._keys()

    def _keys(self, fresh: float = FRESH_SECONDS) -> dict[str, ApiKey]:
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
                rows = session.scalars(select(ApiKey).where(ApiKey.revoked_at.is_(None))).all()
                ended = select(Installation.name).where(Installation.name.startswith(ENDED))
                gone = session.scalars(ended).all()
        except StoreUnavailableError:
            if self._held is None or time.monotonic() - self._read_at > STALE_SECONDS:
                raise
        else:
            self._held = {row.id: row for row in rows}
            self._ended = frozenset(one.removeprefix(ENDED) for one in gone)
            self._read_at = time.monotonic()
        finally:
            self._tried_at = time.monotonic()


def _caller(row: ApiKey | None) -> Caller | None:
    return None if row is None else Caller(row.id, row.name, row.role)
