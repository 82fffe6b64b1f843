"""API keys: ``tw_``, a part that names the key, and a secret of 160 random bits.

Of the secret only its SHA-256 is kept. A slow hash is for words that people choose; nobody guesses
160 random bits, and a caller's every request is checked.
"""

import base64
import hashlib
import hmac
import re
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.access.roles import ROLES
from api.store.models import ApiKey

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
    row = ApiKey(
        id=identity, name=name, role=role, digest=digest(secret), made_at=datetime.now(UTC),
        revoked_at=None,
    )  # fmt: skip
    session.add(row)
    return row, f"tw_{identity}_{secret}"


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
            made = datetime.now(UTC)
            row = ApiKey(id=parts[0], name=name.strip(), role=role, digest=digest(parts[1]))
            row.made_at, row.revoked_at = made, None
            session.add(row)
            session.flush()
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


def in_force(session: Session) -> Sequence[ApiKey]:
    """Return the keys that are not revoked."""
    return session.scalars(select(ApiKey).where(ApiKey.revoked_at.is_(None))).all()


def any_in_force(session: Session) -> bool:
    """Return whether there is a key that is not revoked."""
    query = select(func.count()).select_from(ApiKey).where(ApiKey.revoked_at.is_(None))
    return bool(session.scalar(query))
