"""What is sent twice is done once: HTTP requests with an Idempotency-Key, and the desk's forms.

The key is claimed before any work, by a row that only one caller can insert; whoever comes second
waits for the reply and gets it. The reply is written in the transaction of the step that it tells
of, so it is there exactly when the step is. A claim whose caller died is free after ``LEASE``; one
that a power cut undid is free at once, and so it need not wait for the disk.
"""

import hashlib
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from sqlalchemy import bindparam, select, tuple_
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.cases.case import Case
from api.store import Database, StoreUnavailableError
from api.store.models import KeptAnswer, table_of

KEPT = timedelta(hours=24)
LEASE = timedelta(seconds=10)  # longer than a step takes; who is slower is undone, not doubled
LOOK_SECONDS = 0.05  # between two looks for the other one's reply
WAIT_SECONDS = 30.0
PRUNED = 50  # old replies thrown away with each new one
UNANSWERED = 0  # the status of a claim
Also = Callable[[Session, Case], None]  # what a step of the book does besides, in its transaction
_KEPT = table_of(KeptAnswer)
_COLUMNS = (_KEPT.c.caller, _KEPT.c.key)
# made once: with every step they would cost more than the store takes to run them
_MINE = (
    _KEPT.c.caller == bindparam("of"), _KEPT.c.key == bindparam("named"),
    _KEPT.c.at == bindparam("since"),
)  # fmt: skip
_UNANSWERED = *_MINE, _KEPT.c.status == UNANSWERED
_ANSWER = _KEPT.update().where(*_UNANSWERED)
_RELEASE = _KEPT.delete().where(*_UNANSWERED)
_OVER = _KEPT.delete().where(*_MINE)
# what another one is throwing away is left to it
_OLD = (
    select(*_COLUMNS).where(_KEPT.c.at < bindparam("before")).limit(PRUNED)
    .with_for_update(skip_locked=True)
)  # fmt: skip


class KeyReusedError(Exception):
    """The same key came with another request."""


class _LostClaimError(Exception):
    """The claim ran out and somebody else has it; this step is undone."""


@dataclass(frozen=True)
class RequestKey:
    """What tells one request from another: who sent it, its key, and what it asks."""

    caller: str
    key: str
    fingerprint: str


@dataclass(frozen=True)
class Reply:
    """An answer as it is sent; ``replayed`` where it is to an earlier request."""

    status: int
    headers: dict[str, str]
    body: str
    replayed: bool = False


@dataclass(frozen=True)
class _Claim:
    """A key that is this caller's until ``at`` + LEASE."""

    key: RequestKey
    at: datetime

    @property
    def mine(self) -> dict[str, Any]:
        """Return what tells this claim's row from every other, as ``_MINE`` asks for it."""
        return {"of": self.key.caller, "named": self.key.key, "since": self.at}

    def finish(self, session: Session, made: Reply) -> None:
        """Write the reply in the step's transaction. Raises _LostClaimError to undo it all."""
        store = session.connection()
        reply = {"status": made.status, "headers": made.headers, "body": made.body}
        if not store.execute(_ANSWER, self.mine | reply).rowcount:
            raise _LostClaimError
        old = store.execute(_OLD, {"before": datetime.now(UTC) - KEPT})
        if keys := [tuple(row) for row in old]:  # some of the old replies go
            store.execute(_KEPT.delete().where(tuple_(*_COLUMNS).in_(keys)))

    def release(self, database: Database) -> None:
        """Give the key back, unless it was answered: the next one may try."""
        with suppress(StoreUnavailableError):  # the lease runs out
            database.write(
                lambda session: session.connection().execute(_RELEASE, self.mine), lasting=False
            )

    def take(self, session: Session, over: "_Claim | None") -> None:
        """Insert the claim, in place of one that is over. IntegrityError: somebody was first."""
        store = session.connection()
        if over is not None:
            store.execute(_OVER, over.mine)
        new = {"status": UNANSWERED, "headers": {}, "body": "", "at": self.at}
        store.execute(_KEPT.insert(), vars(self.key) | new)


def fingerprint(method: str, path: str, body: bytes) -> str:
    """Return the SHA-256 of a request, hexadecimal."""
    return hashlib.sha256(b"\n".join([method.encode(), path.encode(), body])).hexdigest()


def once(
    database: Database, key: RequestKey | None, step: Callable[[Also | None], Case],
    reply: Callable[[Case], Reply],
) -> Reply:  # fmt: skip
    """Take a step of the book, or return the reply to the same request.

    ``step`` hands what it is given to the book as ``also``. Raises KeyReusedError when the key came
    with another request, StoreUnavailableError, and what ``step`` raises; the key is free then.
    """
    if key is None:
        return reply(step(None))
    claim = _claimed(database, key)
    if isinstance(claim, Reply):
        return claim
    answered = []

    def finish(session: Session, case: Case) -> None:
        answered.append(reply(case))
        claim.finish(session, answered[-1])

    try:
        case = step(finish)
    except _LostClaimError:
        return once(database, key, step, reply)
    except BaseException:
        claim.release(database)
        raise
    if not answered:  # nothing changed
        claim.release(database)
        return reply(case)
    return answered[-1]


def _claimed(database: Database, key: RequestKey) -> _Claim | Reply:
    """Return a claim, or the reply that another request with this key has got."""
    end = time.monotonic() + WAIT_SECONDS
    found: Reply | _Claim | None = None  # most keys are new: nobody looks before it is taken
    while time.monotonic() < end:
        if isinstance(found, Reply):
            return found
        if found is None or datetime.now(UTC) - found.at > LEASE:
            claim = _Claim(key, datetime.now(UTC))
            with suppress(IntegrityError):  # somebody was first
                database.write(partial(claim.take, over=found), lasting=False)
                return claim
        else:
            time.sleep(LOOK_SECONDS)
        found = _look(database, key)
    raise StoreUnavailableError("the same request is still being worked on; nothing was kept")


def _look(database: Database, key: RequestKey) -> Reply | _Claim | None:
    with database.reading() as session:
        row = session.get(KeptAnswer, (key.caller, key.key))
    if row is None:
        return None
    if datetime.now(UTC) - row.at > KEPT:
        return _Claim(key, row.at)
    if row.fingerprint != key.fingerprint:
        raise KeyReusedError
    if row.status == UNANSWERED:
        return _Claim(key, row.at)
    return Reply(row.status, dict(row.headers), row.body, replayed=True)
