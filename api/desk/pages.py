"""What the desk's templates are given, and a page as a response."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from flask import Response, current_app, render_template, request
from flask.sansio.blueprints import BlueprintSetupState
from markupsafe import Markup

from api.access import caller
from api.answers.conclusions import hundredths
from api.answers.text import sureness
from api.desk import csrf
from api.interview.views import first_sentence, movement
from api.service import current

HTML = "text/html"
AUDIENCES = ("caller", "technician")
_AUDIENCE_COOKIE = "threewire_desk_as"
_TYPED = re.compile(r"(?<=[.!?]) *(?:Or )?Type [^.]*(?:'[^']*'[^.]*)*\.|^Type [^.]*\. *")
_AGES = ((86400, "day"), (3600, "hour"), (60, "minute"))  # seconds -> what they are called


def minutes_words(minutes: float) -> str:
    """Return a time for people: 'takes no time', 'about 1 minute', 'about 8 minutes'."""
    whole = round(minutes)
    if whole == 0:
        return "takes no time"
    return "about 1 minute" if whole == 1 else f"about {whole} minutes"


def without_typing(text: str) -> str:
    """Return a text of the interview without its sentences on what to type at a prompt."""
    return " ".join(_TYPED.sub("", " ".join(text.split())).split())


def moment(at: datetime) -> Markup:
    """Return a time, '2026-11-25 14:05 UTC'; the page's script shows it in local time."""
    there = at.astimezone(UTC)
    shown = there.strftime("%Y-%m-%d %H:%M UTC")
    return Markup('<time datetime="{}">{}</time>').format(there.isoformat(), shown)


def age(at: datetime) -> str:
    """Return how long ago something was, in plain words: '3 hours ago'."""
    seconds = (datetime.now(UTC) - at).total_seconds()
    for size, unit in _AGES:
        if seconds >= size:
            count = int(seconds // size)
            return f"{count} {unit}{'s' if count > 1 else ''} ago"
    return "just now"


FILTERS = {
    "hundredths": hundredths, "sureness": sureness, "minutes": minutes_words, "age": age,
    "movement": movement, "moment": moment, "first_sentence": first_sentence,
    "without_typing": without_typing,
}  # fmt: skip


def set_up(state: BlueprintSetupState) -> None:
    """Give the application's templates what the desk's pages are made with."""
    state.app.jinja_env.filters.update(FILTERS)
    state.app.jinja_env.globals.update(nonce=csrf.nonce)


def audience() -> str:
    """Return whom this browser's pages are for: the one with the caller, or who does the steps."""
    asked = request.args.get("as") or request.cookies.get(_AUDIENCE_COOKIE)
    return asked if asked in AUDIENCES else AUDIENCES[0]


def respond(template: str, status: int = 200, **context: Any) -> Response:
    """Return a page. ``context`` is what the template needs beside what every page has."""
    common: Mapping[str, Any] = {
        "csrf": csrf.token(), "audience": audience(), "caller": caller(),
        "knowledge_version": current().knowledge.version,
    }  # fmt: skip
    text = render_template(f"desk/{template}", **common, **context)
    response = current_app.response_class(text, status=status, mimetype=HTML)
    if request.args.get("as") in AUDIENCES:
        keep_cookie(response, _AUDIENCE_COOKIE, request.args["as"])
    return response


def keep_cookie(response: Response, name: str, value: str) -> None:
    """Keep something in the browser for a month, out of reach of scripts."""
    response.set_cookie(
        name, value, max_age=30 * 24 * 3600, path=csrf.PATH, httponly=True, samesite="Lax",
        secure=request.is_secure,
    )  # fmt: skip


def safe(svg: str) -> Markup:
    """Return a drawing of our own making as it stands; it escaped what others wrote itself."""
    return Markup(svg)  # noqa: S704 - made here from numbers and escaped words
