"""``/reference/``: the generated reference, as HTML for people."""

from collections.abc import Callable

from flask import Blueprint, Response, request
from marshmallow import fields, validate

from api.curation import reference as pages
from api.curation.facts import KINDS, shelf
from api.curation.reference import Site
from api.service import current
from api.web import replies
from api.web.knowledge import survey_of
from api.web.operations import JsonSchema, Operation, operation
from api.web.requests import QuerySchema, choice
from engine.reasoning.request import says

TAG = "reference"
blueprint = Blueprint(TAG, __name__)

HTML, CSS = "text/html", "text/css"
MOST_LETTERS = 100
_KINDS = tuple(KINDS)
# Nothing but the one style sheet is loaded, and the one form leads back here.
_POLICY = (
    "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)


class ReferenceQuery(QuerySchema):
    """Which pages are listed."""

    q = fields.String(
        load_default="",
        validate=validate.Length(max=MOST_LETTERS, error="give at most {max} letters"),
        metadata=says("Words that the item has, every one."),
    )
    kind = choice("kind", ("", *_KINDS), "One kind of item; empty is all.")


_PATH: dict[str, JsonSchema] = {
    "kind": {"type": "string", "enum": list(_KINDS), "description": "Kind of item."},
    "name": {"type": "string", "pattern": "^[a-z0-9-]+$", "description": "Id of the item."},
}


def _page(mimetype: str = HTML, query: type[QuerySchema] = QuerySchema) -> Operation:
    return Operation(TAG, mimetype=mimetype, query=query, negotiated=False, path=_PATH)


@blueprint.get("/reference/", strict_slashes=False)
@operation(_page(query=ReferenceQuery))
def reference(q: str = "", kind: str = "") -> Response:
    """List all pages of the reference, or those that have some words."""
    root = "" if request.path.endswith("/") else "reference/"
    site = Site(current().knowledge, root=root)
    return _respond(pages.render_index(site, q, kind), HTML)


@blueprint.get("/reference/style.css")
@operation(_page(CSS))
def reference_style() -> Response:
    """Return the style sheet of the reference."""
    return _respond(pages.stylesheet(), CSS)


@blueprint.get("/reference/groups.html")
@operation(_page())
def reference_groups() -> Response:
    """Show which causes cannot be told apart, as a page."""
    site = Site(current().knowledge)
    return _kept("groups", lambda: pages.render_groups(survey_of(current()), site))


@blueprint.get("/reference/<kind>/<name>.html")
@operation(_page())
def reference_page(kind: str, name: str) -> Response:
    """Show one item of the knowledge base as a page."""
    site = Site(current().knowledge, root="../")
    if not site.has(kind, name):
        return _missing(site, kind, name)
    survey = survey_of(current())
    return _kept(f"{kind}/{name}", lambda: pages.render_page(survey, site, kind, name))


def _missing(site: Site, kind: str, name: str) -> Response:
    """Return the page that says so to a person; raises ProblemError 404 for a program."""
    known = shelf(site.knowledge, kind) if kind in _KINDS else _KINDS
    singular = KINDS.get(kind, "kind")
    problem = replies.missing(singular, name if kind in _KINDS else kind, known, "name")
    if request.accept_mimetypes.best_match(("application/json", HTML)) != HTML:
        raise problem
    template = pages.templates().get_template("reference/missing.html")
    response = _respond(template.render(site=site, message=problem.detail), HTML)
    response.status_code = 404
    return response


def _kept(name: str, make: Callable[[], str]) -> Response:
    """Return a page that is made at the first call and kept."""
    kept = current().cache.setdefault("reference", {})
    if name not in kept:
        kept[name] = make()
    return _respond(kept[name], HTML)


def _respond(text: str, mimetype: str) -> Response:
    return replies.tagged(text, mimetype, _POLICY)
