"""Signing in with a key in a browser: a signed cookie that names the key, for the desk alone.

The cookie holds the key's id and the time of signing in, signed with a secret that is made once and
kept in the store, so that every worker of every server reads it. Whether the key is still in force
and the session not signed out is asked anew for every request. Tokens against forged forms are the
desk's own affair.
"""

import secrets
import time
from datetime import timedelta

from flask import Flask, request, session
from sqlalchemy import delete
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.access import Caller, exposure
from api.access.keys import ENDED, KeyCache
from api.service import Service, current
from api.store import Database
from api.store.models import Installation

PATH = "/desk"
HOURS = 12  # a shift; then the key is asked for again
_ID, _SINCE, _OWN = "key", "since", "session"
_SECRET = "cookie-secret"  # noqa: S105 - the name under which it is kept


def set_up(app: Flask, service: Service) -> None:
    """Give ``app`` its cookie secret and the cookie's attributes. Raises StoreUnavailableError."""
    if app.secret_key is None:
        kept = service.database
        app.secret_key = secrets.token_hex(32) if kept is None else cookie_secret(kept)
    app.config.update(
        SESSION_COOKIE_NAME="threewire",
        SESSION_COOKIE_PATH=PATH,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=exposure.beyond_loopback(service.settings),
        PERMANENT_SESSION_LIFETIME=timedelta(hours=HOURS),
    )


def cookie_secret(database: Database) -> str:
    """Return the installation's secret, made by whoever asks first."""

    def take(kept: Session) -> str:
        row = kept.get(Installation, _SECRET)
        if row is None:
            row = Installation(name=_SECRET, value=secrets.token_hex(32))
            kept.add(row)
        return row.value

    try:
        return database.write(take)
    except IntegrityError:  # another server made it in the same moment
        return database.write(take)


def sign_in(key: str) -> Caller | None:
    """Start a session for the key's owner, or return None when there is no such key in force.

    Call it in a request to the desk. Raises ProblemError 429 after too many wrong keys from one
    address, StoreUnavailableError when the keys cannot be read.
    """
    from api.access.authorization import access, failed

    rules = access()
    found = rules.keys.find(key.strip()) if rules.keys is not None else None
    session.clear()  # a session from before must not live on as somebody else's
    if found is None:
        problem = failed(rules)
        if problem.status == 429:
            raise problem
        return None
    session[_ID], session[_SINCE] = found.id, int(time.time())
    session[_OWN] = secrets.token_urlsafe(12)
    session.permanent = True
    return found


def name() -> str:
    """Return the name of the session of this request, which is no secret; empty for none."""
    return str(session.get(_OWN, ""))


def sign_out() -> None:
    """End the session of this request, for whoever has a copy of its cookie too.

    That it has ended is noted, and what is older than any session lives is dropped.
    """
    own, known = session.get(_OWN), current().database
    if isinstance(own, str) and known is not None:
        now = int(time.time())
        late = Installation.value < f"{now - HOURS * 3600:012}"
        old = delete(Installation).where(Installation.name.startswith(ENDED), late)

        def end(kept: Session) -> None:
            kept.execute(old)
            kept.merge(Installation(name=f"{ENDED}{own}", value=f"{now:012}"))

        known.write(end)
    session.clear()


def caller_of_session(known: KeyCache | None) -> Caller | None:
    """Return whose session this request carries, while its key is in force.

    Raises StoreUnavailableError when the keys cannot be read.
    """
    if known is None or not (request.path == PATH or request.path.startswith(PATH + "/")):
        return None
    identity, since = session.get(_ID), session.get(_SINCE)
    if not isinstance(identity, str) or not isinstance(since, int):
        return None
    if time.time() - since > HOURS * 3600 or known.has_ended(str(session.get(_OWN))):
        return None
    return known.by_id(identity)
