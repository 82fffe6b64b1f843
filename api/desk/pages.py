"""What the desk's templates are given, and a page as a response."""

from datetime import UTC, datetime
from typing import Any

from flask import Response, current_app, render_template, request
from flask.sansio.blueprints import BlueprintSetupState
from markupsafe import Markup

from api.access import caller
from api.answers.conclusions import hundredths
from api.answers.text import sureness
from api.desk import csrf
from api.desk.words import minutes_words, movement, spoken
from api.service import current

HTML = "text/html"
AUDIENCES = ("caller", "technician")
_AUDIENCE_COOKIE = "threewire_desk_as"


FILTERS = {
    "hundredths": hundredths, "sureness": sureness, "spoken": spoken, "minutes": minutes_words,
    "movement": movement, "percent": lambda share: round(100 * share),
}  # fmt: skip


def set_up(state: BlueprintSetupState) -> None:
    """Give the application's templates what the desk's pages are made with."""
    state.app.jinja_env.filters.update(FILTERS, moment=moment)
    state.app.jinja_env.globals.update(nonce=csrf.nonce)


def common() -> dict[str, Any]:
    """Return what every page has."""
    return {
        "csrf": csrf.token(), "audience": audience(), "caller": caller(),
        "knowledge_version": current().knowledge.version,
    }  # fmt: skip


def moment(at: datetime) -> str:
    """Return a time for people: '2026-11-25 14:05 UTC'."""
    return at.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def audience() -> str:
    """Return whom this browser's pages are for: the one with the caller, or who does the steps."""
    asked = request.args.get("as") or request.cookies.get(_AUDIENCE_COOKIE)
    return asked if asked in AUDIENCES else AUDIENCES[0]


def respond(template: str, status: int = 200, **context: Any) -> Response:
    """Return a page. ``context`` is what the template needs beside what every page has."""
    text = render_template(f"desk/{template}", **common(), **context)
    response = current_app.response_class(text, status=status, mimetype=HTML)
    if request.args.get("as") in AUDIENCES:
        response.set_cookie(
            _AUDIENCE_COOKIE, request.args["as"], max_age=30 * 24 * 3600, path=csrf.PATH,
            httponly=True, samesite="Lax", secure=request.is_secure,
        )  # fmt: skip
    return response


def safe(svg: str) -> Markup:
    """Return a drawing of our own making as it stands; it escaped what others wrote itself."""
    return Markup(svg)  # noqa: S704 - made here from numbers and escaped words
