"""A form that was sent: taken once, however often it is sent, or shown again with what is wrong.

Its mark is the idempotency key of the step it makes.
"""

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Response, request

from api.cases import StaleCase, idempotency
from api.cases.case import Case, CaseStep
from api.cases.idempotency import Also, Reply, RequestKey
from api.desk import csrf, pages
from api.desk.blueprint import book, go
from api.desk.forms import FormFault
from engine import RequestError

_SHAPE = re.compile(r"[0-9a-f]{32}", re.ASCII)
SEE_OTHER = 303


@dataclass(frozen=True)
class Refusal:
    """Why a form is not taken: its faults by field, or that the case is newer than its page."""

    status: int = 200
    faults: Mapping[str, str] = field(default_factory=dict)
    stale: StaleCase | None = None

    @property
    def changes(self) -> list[CaseStep] | None:
        """Return what others did meanwhile, if that is why."""
        return self.stale.changes if self.stale else None

    def page(self, template: str, **context: Any) -> Response:
        """Return the page of the form, with what is wrong with it."""
        stale = str(self.stale) if self.stale else ""
        return pages.respond(template, self.status, faults=self.faults, stale=stale, **context)


NEW = Refusal()  # of a form that nobody sent yet


def submitted(
    step: Callable[[Also | None], Case], address: Callable[[Case], str],
    again: Callable[[Refusal], Response], named: bool = False,
) -> Response:  # fmt: skip
    """Take a step of a case, or none if this form took it before, and lead to ``address``.

    ``step`` hands what it is given to the book as ``also``; ``again`` makes the page of a form that
    is refused. ``named`` puts the field's name into the engine's sentence about it.
    """

    def reply(case: Case) -> Reply:
        return Reply(SEE_OTHER, {}, address(case))

    try:
        return go(idempotency.once(book().database, _key(), step, reply).body)
    except FormFault as fault:
        return again(Refusal(422, fault.faults))
    except RequestError as error:
        return again(Refusal(422, _faults(error, named)))
    except StaleCase as stale:
        return again(Refusal(412, stale=stale))


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


def _faults(error: RequestError, named: bool) -> dict[str, str]:
    """Return the engine's faults by the field of the form that they are about."""
    found: dict[str, str] = {}
    for fault in error.faults:
        name = fault.path.rpartition(".")[2].partition("[")[0]
        known = name in request.form or not fault.path.startswith(("machine", "findings"))
        words = name.replace("_", " ")
        said = f"{words} {fault.message}" if named else fault.message
        found.setdefault(name if known else "form", f"{said[:1].upper()}{said[1:]}.")
    return found


def number_of(name: str) -> int:
    """Return a number that was sent; 0, which no place and no version has, where it is not said."""
    typed = request.values.get(name, "")
    return int(typed) if typed.isdecimal() and len(typed) < 10 else 0


def seen() -> int:
    """Return the version of the case that the page showed."""
    return number_of("version")
