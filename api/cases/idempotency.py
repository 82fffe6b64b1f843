"""Answers kept under an Idempotency-Key, each written in the transaction that it tells of.

So a request that is sent twice, or twice at once, is done once: whoever comes second finds the
answer, or finds that it was written meanwhile and takes that. Answers are kept for a day.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import delete, select, tuple_
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.store import Database
from api.store.models import KeptAnswer

KEPT = timedelta(hours=24)
PRUNED = 50  # old answers thrown away with each new one


class KeyReusedError(Exception):
    """The same key came with another request."""


class KeptMeanwhileError(Exception):
    """An answer to the same key was written by somebody else; this step is undone."""


@dataclass(frozen=True)
class Mark:
    """What tells one request from another: who sent it, its key, and what it asks."""

    caller: str
    key: str
    fingerprint: str


@dataclass(frozen=True)
class Answer:
    """An answer as it is sent."""

    status: int
    headers: Mapping[str, Any]
    body: str


def fingerprint(method: str, path: str, body: bytes) -> str:
    """Return the SHA-256 of a request, hexadecimal."""
    return hashlib.sha256(b"\n".join([method.encode(), path.encode(), body])).hexdigest()


def find(database: Database, mark: Mark) -> Answer | None:
    """Return the answer that is kept. Raises KeyReusedError when it is to another request."""
    with database.reading() as session:
        row = session.get(KeptAnswer, (mark.caller, mark.key))
        if row is None or _old(row.at):
            return None
        if row.fingerprint != mark.fingerprint:
            raise KeyReusedError
        return Answer(row.status, row.headers, row.body)


def keep(session: Session, mark: Mark, answer: Answer) -> None:
    """Write the answer in the caller's transaction. Raises KeptMeanwhileError to undo it all."""
    kept = session.get(KeptAnswer, (mark.caller, mark.key))
    if kept is not None and not _old(kept.at):
        raise KeptMeanwhileError
    if kept is not None:
        session.delete(kept)
        session.flush()
    session.add(
        KeptAnswer(
            caller=mark.caller, key=mark.key, fingerprint=mark.fingerprint, status=answer.status,
            headers=dict(answer.headers), body=answer.body, at=datetime.now(UTC),
        )
    )  # fmt: skip
    try:
        session.flush()
    except IntegrityError as error:  # PostgreSQL waited here for the other one's end
        raise KeptMeanwhileError from error
    _prune(session)


def _old(at: datetime) -> bool:
    return datetime.now(UTC) - at > KEPT


def _prune(session: Session) -> None:
    """Throw away some of the old answers; what another one is throwing away is left to it."""
    columns = (KeptAnswer.caller, KeptAnswer.key)
    old = select(*columns).where(KeptAnswer.at < datetime.now(UTC) - KEPT).limit(PRUNED)
    keys = [tuple(row) for row in session.execute(old.with_for_update(skip_locked=True))]
    if keys:
        session.execute(delete(KeptAnswer).where(tuple_(*columns).in_(keys)))
