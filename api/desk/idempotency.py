"""A form that is sent twice counts once: its mark is the idempotency key of the step it makes."""

import hashlib
import re
from collections.abc import Callable

from flask import Response, request

from api.cases import idempotency
from api.cases.case import Case
from api.cases.idempotency import Also, Reply, RequestKey
from api.desk import csrf
from api.desk.blueprint import book, go

_SHAPE = re.compile(r"[0-9a-f]{32}", re.ASCII)
_SEE_OTHER = 303


def once(step: Callable[[Also | None], Case], address: Callable[[Case], str]) -> Response:
    """Take a step of a case, or none if this form took it before, and lead to ``address``.

    ``step`` hands what it is given to the book as ``also``. Raises what ``step`` raises.
    """

    def reply(case: Case) -> Reply:
        return Reply(_SEE_OTHER, {}, address(case))

    return go(idempotency.once(book().database, _key(), step, reply).body)


def _key() -> RequestKey | None:
    """Return the key of the form that was sent; None where it carries no mark.

    The browser is named by a digest, since its cookie is a secret.
    """
    mark = request.form.get("nonce", "")
    if not _SHAPE.fullmatch(mark):
        return None
    browser = hashlib.sha256(csrf.browser().encode()).hexdigest()[:40]
    path = hashlib.sha256(request.path.encode()).hexdigest()
    return RequestKey(f"desk {browser}", f"{mark} {path}", path)
