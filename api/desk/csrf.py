"""What keeps the desk's forms its own: a cookie, a token bound to it, and strict headers.

The cookie holds a random value that no script can read. A form carries its HMAC, so another site
can neither know nor make it. Nothing is kept on the server: any worker can tell, and a form that
was open when the server went away is still good when it is back.
"""

import hmac
import logging
import re
import secrets
from urllib.parse import urlsplit

from flask import Response, g, request

from api import strict_json
from api.access import session as signed
from api.logs import LogLine

COOKIE = "threewire_desk"
PATH = "/desk"
FIELD = "csrf"
# Nothing but our own script, style and pictures; forms lead back here alone.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
NOTHING = "desk.nothing"  # the view of what is not there: it changes nothing
_SAFE = ("GET", "HEAD", "OPTIONS")
_KEPT_SECONDS = 365 * 24 * 3600
_log = logging.getLogger("threewire.access")
_SHAPE = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)


class ForeignForm(Exception):  # noqa: N818 - it is what came, not a fault of ours
    """A form that does not come from a page that this browser got from here."""


def begin() -> None:
    """Refuse a form that is not from a page of ours."""
    if request.method not in _SAFE and request.endpoint != NOTHING and not _ours():
        g.refused = "foreign-form"
        raise ForeignForm


def browser() -> str:
    """Return the random value that this browser's cookie holds; a new one where it has none."""
    if "desk_cookie" not in g:
        held = request.cookies.get(COOKIE, "")
        g.desk_cookie = held if _SHAPE.fullmatch(held) else secrets.token_urlsafe(32)
        g.desk_cookie_new = g.desk_cookie != held
    return str(g.desk_cookie)


def _ours() -> bool:
    """Return whether a form was sent from a page that this browser got from here.

    A request that carries its key in a header is no browser's doing: no other site can add one.
    """
    if request.headers.get("Authorization", "").lower().startswith("bearer "):
        return True
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        # who set up the proxy finds here that it hands another name on than it is known by
        said = {"origin": strict_json.shorten(origin), "host": strict_json.shorten(request.host)}
        _log.warning(LogLine(event="foreign-form", **said))
        return False
    return hmac.compare_digest(token().encode(), request.form.get(FIELD, "").encode())


def token() -> str:
    """Return the token that this browser's forms carry while this session lasts."""
    said = f"desk form {signed.name()}"
    return hmac.new(browser().encode(), said.encode(), "sha256").hexdigest()


def nonce() -> str:
    """Return the mark of one form as it was made: sent twice, it counts once."""
    return secrets.token_hex(16)


def end(response: Response) -> Response:
    """Set the cookie where it is new, and the headers of a page."""
    if g.get("desk_cookie_new"):
        response.set_cookie(
            COOKIE, g.desk_cookie, max_age=_KEPT_SECONDS, path=PATH, httponly=True,
            samesite="Lax", secure=request.is_secure,
        )  # fmt: skip
    response.headers.setdefault("Content-Security-Policy", POLICY)
    return response
