"""A form that is sent twice counts once: its mark is kept in the step that it made."""

import hashlib
import re
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from flask import request
from sqlalchemy.orm import Session

from api.cases import Book
from api.cases.case import Case
from api.desk import csrf as guard
from api.store.models import KeptAnswer

_SHAPE = re.compile(r"[0-9a-f]{32}", re.ASCII)
_SEE_OTHER = 303


def _who() -> str:
    """Return whose mark it is: the browser's, by a digest, since the cookie is a secret."""
    return "desk " + hashlib.sha256(guard.browser().encode()).hexdigest()[:40]


def already(book: Book) -> str | None:
    """Return where this form led when it was sent before; None when it is new."""
    mark = request.form.get("nonce", "")
    if not _SHAPE.fullmatch(mark):
        return None
    with book.database.reading() as session:
        kept = session.get(KeptAnswer, (_who(), mark))
        return kept.body if kept is not None else None


def keep(address: Callable[[dict[str, Any]], str]) -> Callable[[Session, Case], None]:
    """Return what a step of the book does besides: keep the form's mark and where it led."""
    mark = request.form.get("nonce", "")

    def also(session: Session, case: Case) -> None:
        if _SHAPE.fullmatch(mark):
            session.add(KeptAnswer(
                caller=_who(), key=mark, status=_SEE_OTHER, headers={},
                body=address(case.to_dict()),
                fingerprint=hashlib.sha256(request.path.encode()).hexdigest(),
                at=datetime.now(UTC),
            ))  # fmt: skip

    return also
