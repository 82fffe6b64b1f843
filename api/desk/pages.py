"""What the desk's templates are given, and a page as a response."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from flask import Response, current_app, render_template, request
from flask.sansio.blueprints import BlueprintSetupState
from jinja2 import Environment, pass_eval_context
from jinja2.nodes import EvalContext
from markupsafe import Markup

from api import translation
from api.access import caller
from api.answers.conclusions import hundredths, in_100
from api.answers.text import sureness
from api.desk import csrf
from api.interview.views import first_sentence, movement
from api.service import current
from api.strict_json import Json
from api.translation import gettext, ngettext

HTML = "text/html"
AUDIENCES = ("caller", "technician")
_AUDIENCE_COOKIE = "threewire_desk_as"


def moment(at: datetime) -> Markup:
    """Return a time, '2026-11-25 14:05 UTC'; the page's script shows it in local time."""
    there = at.astimezone(UTC)
    shown = gettext("%(time)s UTC", time=there.strftime("%Y-%m-%d %H:%M"))
    return Markup('<time datetime="{}">{}</time>').format(there.isoformat(), shown)


def age(at: datetime) -> str:
    """Return how long ago something was, in plain words: '3 hours ago'."""
    minutes = int((datetime.now(UTC) - at).total_seconds() // 60)
    if minutes < 1:
        return gettext("just now")
    if minutes < 60:
        return ngettext("%(num)d minute ago", "%(num)d minutes ago", minutes)
    if minutes < 24 * 60:
        return ngettext("%(num)d hour ago", "%(num)d hours ago", minutes // 60)
    return ngettext("%(num)d day ago", "%(num)d days ago", minutes // (24 * 60))


def causes_in_100(causes: Iterable[Json]) -> str:
    """Return causes with their chances: 'Hold winding open (8 in 100); ...'."""
    return "; ".join(f"{one['name']} ({hundredths(one['probability'])})" for one in causes)


FILTERS = {
    "hundredths": hundredths, "sureness": sureness, "age": age, "movement": movement,
    "moment": moment, "first_sentence": first_sentence,
    "number_in_100": in_100, "causes_in_100": causes_in_100,
}  # fmt: skip


def set_up(state: BlueprintSetupState) -> None:
    """Give the application's templates what the desk's pages are made with."""
    state.app.jinja_env.filters.update(FILTERS)
    state.app.jinja_env.globals.update(nonce=csrf.nonce, language=language)
    translate(state.app.jinja_env)


def translate(environment: Environment) -> None:
    """Let templates mark their texts: ``_("...")`` and ``{% trans %}``, blanks made one."""
    environment.policies["ext.i18n.trimmed"] = True
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(  # type: ignore[attr-defined]  # the extension brings it
        gettext, ngettext, newstyle=True
    )
    # a page has a hundred texts: the extension's way to each is four calls, and a sixth of the page
    environment.globals.update(gettext=_said, _=_said)


@pass_eval_context
def _said(context: EvalContext, text: str, **values: object) -> str:
    """Return a text in the reader's language, its placeholders filled; in a page as markup."""
    said = gettext(text)
    if not context.autoescape:
        return said % values
    return Markup(said) % values if values else _whole(said)  # noqa: S704 - a text of ours


@lru_cache(maxsize=2048)
def _whole(text: str) -> Markup:
    """Return a text without placeholders as markup."""
    return Markup(text) % {}  # noqa: S704 - a text of ours


def language() -> str:
    """Return the language of this request: what its browser likes best of those there are."""
    found = request.accept_languages.best_match(translation.languages())
    return found or translation.ENGLISH


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
