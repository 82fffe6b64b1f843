"""The desk's blueprint: what happens around its pages, its files, and its errors in words."""

from flask import Blueprint, Response, abort, current_app, redirect, request, url_for
from werkzeug.exceptions import HTTPException

from api.access import caller, role
from api.answers import problems
from api.answers.problems import ProblemError
from api.cases import Book, ClosedCase, NoSuchCase, NoSuchFinding, OpenCase
from api.desk import csrf as guard
from api.desk import pages
from api.drawing import stylesheet
from api.service import current
from api.store import StoreUnavailableError


class _Desk(Blueprint):
    """Flask's blueprint; its files need no key: the page that asks for one is made of them."""

    @role("public")
    def send_static_file(self, filename: str) -> Response:
        """Return the style sheet, the script or the sign of the desk."""
        return super().send_static_file(filename)


blueprint = _Desk(
    "desk", __name__, template_folder="templates", static_folder="static",
    static_url_path="/desk/static",
)  # fmt: skip
blueprint.before_request(guard.begin)
blueprint.after_request(guard.end)

_NAME_COOKIE = "threewire_desk_name"
NAME_LETTERS = 60


def _home() -> list[tuple[str, str]]:
    return [("To the calls", url_for(".home"))]


class NothingKeptError(Exception):
    """The service has no store, so there can be no cases."""


def book() -> Book:
    """Return the case book. Raises NothingKeptError."""
    try:
        return Book.of(current())
    except LookupError:
        raise NothingKeptError from None


def name_typed() -> str:
    """Return the name that the person at this browser gave, if any."""
    name = request.cookies.get(_NAME_COOKIE, "")
    return name[:NAME_LETTERS] if name.isprintable() else ""


def by() -> str:
    """Return who does this, for the case: the person's name, and the key where there is one."""
    name, who = name_typed(), caller()
    if who.id == "local":
        return name or "local"
    return f"{name} via {who.name}" if name else who.name


def keep_name(response: Response, name: str) -> None:
    """Keep the person's name in the browser, for a month."""
    response.set_cookie(
        _NAME_COOKIE, name, max_age=30 * 24 * 3600, path=guard.PATH, httponly=True, samesite="Lax",
        secure=request.is_secure,
    )  # fmt: skip


def go(address: str) -> Response:
    """Lead the browser to a page after a form."""
    response = redirect(address, code=303, Response=current_app.response_class)
    response.set_data(b"")
    return response  # type: ignore[return-value]  # our own class, as asked for above


@blueprint.get("/desk/static/drawing.css")
@role("public")
def drawing_style() -> Response:
    """Return the style sheet of the drawings, which every door has."""
    response = current_app.response_class(stylesheet(), mimetype="text/css")
    response.headers["Cache-Control"] = "no-cache"
    response.add_etag()
    response.make_conditional(request)
    return response


_METHODS = ["GET", "POST", "PUT", "PATCH", "DELETE"]


@blueprint.get("/desk/", defaults={"rest": ""})
@blueprint.route("/desk/<path:rest>", methods=_METHODS)
@role("public")
def nothing(rest: str) -> Response:
    """Say that there is no such page; /desk/ is /desk."""
    if not rest and request.method == "GET":
        return go(url_for(".home"))
    abort(404)


@blueprint.errorhandler(guard.ForeignForm)
def _on_foreign(_: guard.ForeignForm) -> Response:
    return pages.respond(
        "message.html", 400, title="This form is not taken",
        lines=["It does not carry the mark of a page that this browser got from here, or the mark "
               "is old. Nothing was changed.",
               "Load the page again and send it once more. What you typed is kept there."],
        links=_home(),
    )  # fmt: skip


@blueprint.errorhandler(HTTPException)
def _on_http(error: HTTPException) -> Response:
    code = error.code or 500
    words = {404: "There is no such page", 405: "This cannot be done here",
             413: "That is too much at once"}  # fmt: skip
    return pages.respond(
        "message.html", code, title=words.get(code, "That cannot be read"),
        lines=["Nothing was changed."], links=_home(),
    )  # fmt: skip


@blueprint.errorhandler(ProblemError)
def _on_problem(error: ProblemError) -> Response:
    """Answer what the gate refuses: without a key, ask for one; else say why."""
    if error.status == 401:
        wanted = request.full_path.rstrip("?") if request.method == "GET" else url_for(".home")
        response = pages.respond("sign_in.html", 401, fault="", next=wanted)
    else:
        title = "Wait a moment" if error.status == 429 else "That is not for this key"
        response = pages.respond(
            "message.html", error.status, title=title, lines=[error.detail or ""], links=_home()
        )
    response.headers.update(error.headers)
    return response


@blueprint.errorhandler(NoSuchCase)
@blueprint.errorhandler(NoSuchFinding)
def _on_missing(error: NoSuchCase | NoSuchFinding) -> Response:
    return pages.respond(
        "message.html", 404, title="There is no such case", lines=[str(error)], links=_home()
    )


@blueprint.errorhandler(ClosedCase)
@blueprint.errorhandler(OpenCase)
def _on_state(error: ClosedCase | OpenCase) -> Response:
    """Say that somebody closed or reopened the case meanwhile."""
    number = (request.view_args or {}).get("number", "")
    return pages.respond(
        "message.html", 409, title="Not taken: the case is not as it was",
        lines=[str(error), "Nothing was changed."],
        links=[("To the case", url_for(".case_page", number=number))],
    )  # fmt: skip


@blueprint.errorhandler(StoreUnavailableError)
def _on_store_away(error: StoreUnavailableError) -> Response:
    message = str(error)
    response = pages.respond(
        "message.html", 503, title="The cases cannot be reached now",
        lines=[f"{message[:1].upper()}{message[1:]}.", "Try again in a moment."], links=_home(),
    )  # fmt: skip
    response.headers["Retry-After"] = "5"
    return response


@blueprint.errorhandler(NothingKeptError)
def _on_nothing_kept(_: NothingKeptError) -> Response:
    return pages.respond(
        "message.html", 503, title="This server keeps no cases",
        lines=["It was started without a store, and the desk keeps every call as a case. Start it "
               "with 'threewire serve'."],
        links=[("To the bench sums", url_for(".sum_list"))],
    )  # fmt: skip


@blueprint.errorhandler(Exception)
def _on_surprise(error: Exception) -> Response:
    problems.log_surprise(error)
    return pages.respond(
        "message.html", 500, title="The desk failed",
        lines=["Nothing that you typed is at fault. What you typed is kept in this browser.",
               "Try it again; if it stays, tell whoever runs the server."],
        links=_home(),
    )  # fmt: skip
