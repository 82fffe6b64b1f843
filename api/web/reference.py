"""``/reference/``: the generated reference, as HTML for people."""

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, current_app, request

from api.answers.problems import ProblemError
from api.curation import reference
from api.curation.facts import KINDS, shelf
from api.curation.reference import Site
from api.service import current
from api.web import negotiation
from api.web.operations import page_operation, text_parameter
from api.web.surveying import survey_of
from engine.knowledge.faults import unknown

blueprint = Blueprint("reference", __name__)

HTML, CSS = "text/html", "text/css"
MOST_LETTERS = 100
_KINDS = tuple(reference.LABELS)
# Nothing but the one style sheet is loaded, and the one form leads back here.
_POLICY = (
    "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)

OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {
    ("/reference/", "get"): page_operation(
        "reference", "All pages of the reference, or those that have some words.", HTML,
        text_parameter("q", "Words that the item has, every one.", MOST_LETTERS),
        text_parameter("kind", "One kind of item; empty is all.", members=("", *_KINDS)),
    ),
    ("/reference/style.css", "get"): page_operation(
        "referenceStyle", "The style sheet of the reference.", CSS
    ),
    ("/reference/groups.html", "get"): page_operation(
        "referenceGroups", "Causes that cannot be told apart, as a page.", HTML
    ),
    ("/reference/{kind}/{name}.html", "get"): page_operation(
        "referencePage", "One item of the knowledge base as a page.", HTML,
        text_parameter("kind", "Kind of item.", members=_KINDS, where="path"),
        text_parameter("name", "Id of the item.", where="path"), refusals=("404",),
    ),
}  # fmt: skip


@blueprint.get("/reference/", strict_slashes=False)
def index() -> Response:
    """List every page, or those that the query asks for."""
    words, only = _asked()
    root = "" if request.path.endswith("/") else "reference/"
    site = Site(current().knowledge, root=root, home=root or "./", searchable=True)
    return _respond(reference.render_index(site, words, only), HTML)


def _asked() -> tuple[str, str]:
    """Return the words and the kind that the query asks for. Raises ProblemError 422."""
    free = {name: value for name, value in request.args.items() if name != "q"}
    negotiation.refuse(free, {"kind": ("", *_KINDS)}, request.args.getlist)
    words = request.args.getlist("q")
    if len(words) > 1 or any(len(one) > MOST_LETTERS for one in words):
        message = f"give it once, with at most {MOST_LETTERS} letters"
        raise ProblemError(422, "The query does not fit.", errors=[("query.q", message)])
    return "".join(words), free.get("kind", "")


@blueprint.get("/reference/style.css")
def style() -> Response:
    """Return the style sheet."""
    negotiation.query({})
    return _respond(reference.stylesheet(), CSS)


@blueprint.get("/reference/groups.html")
def groups() -> Response:
    """Show what cannot be told apart."""
    negotiation.query({})
    site = Site(current().knowledge, home="./")
    return _kept("groups", lambda: reference.render_groups(survey_of(current()), site))


@blueprint.get("/reference/<kind>/<name>.html")
def page(kind: str, name: str) -> Response:
    """Show one item. Raises ProblemError 404 that names the nearest."""
    negotiation.query({})
    site = Site(current().knowledge, root="../", home="../")
    if not site.has(kind, name):
        return _missing(site, kind, name)
    survey = survey_of(current())
    return _kept(f"{kind}/{name}", lambda: reference.render_page(survey, site, kind, name))


def _missing(site: Site, kind: str, name: str) -> Response:
    """Return the page that says so to a person; raises ProblemError 404 for a program."""
    known = shelf(site.knowledge, kind) if kind in _KINDS else _KINDS
    singular = KINDS.get(kind, "kind")
    message = unknown(singular, name if kind in _KINDS else kind, known)
    message = message[:1].upper() + message[1:] + "."
    if request.accept_mimetypes.best_match(("application/json", HTML)) != HTML:
        raise ProblemError(404, message, errors=[("name", message)])
    response = _respond(reference.render_missing(site, message), HTML)
    response.status_code = 404
    return response


def _kept(name: str, make: Callable[[], str]) -> Response:
    """Return a page that is made at the first call and kept."""
    kept = current().cache.setdefault("reference", {})
    if name not in kept:
        kept[name] = make()
    return _respond(kept[name], HTML)


def _respond(text: str, mimetype: str) -> Response:
    response = current_app.response_class(text, mimetype=mimetype)
    response.headers["Content-Security-Policy"] = _POLICY
    response.headers["Cache-Control"] = "no-cache"
    response.add_etag()
    response.make_conditional(request)
    return response
