"""The desk's blueprint: what happens around its pages, its files, and its errors in words."""

from collections.abc import Sequence

from flask import Blueprint, Response, abort, current_app, redirect, request, url_for
from werkzeug.exceptions import HTTPException

from api import translation
from api.access import caller, role
from api.answers import problems
from api.answers.problems import ProblemError
from api.cases import Book, ClosedCase, NoSuchCase, NoSuchFinding, OpenCase
from api.cases.texts import name_fault
from api.desk import csrf, pages
from api.drawing import stylesheet
from api.service import current
from api.store import StoreUnavailableError
from api.translation import gettext
from engine import RequestError


class _Desk(Blueprint):
    """Flask's blueprint; its files need no key: the page that asks for one is made of them."""

    @role("public")
    def send_static_file(self, filename: str) -> Response:
        """Return the style sheet, the sign or a script of the desk."""
        response = super().send_static_file(filename)
        response.headers["Service-Worker-Allowed"] = f"{csrf.PATH}/"  # not of its folder alone
        return response


blueprint = _Desk(
    "desk", __name__, template_folder="templates", static_folder="static",
    static_url_path="/desk/static",
)  # fmt: skip
blueprint.record_once(pages.set_up)
# before the gate, which may turn somebody away with a page
blueprint.url_value_preprocessor(lambda *_: translation.speak(pages.language()))
blueprint.teardown_request(lambda _: translation.speak(None))
blueprint.before_request(csrf.begin)
blueprint.after_request(csrf.end)

NAME_COOKIE = "threewire_desk_name"
NAME_LETTERS = 60


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
    name = request.cookies.get(NAME_COOKIE, "")[:NAME_LETTERS]
    return "" if name_fault(name) else name


def by() -> str:
    """Return who does this, for the case: the person's name, and the key where there is one."""
    name, who = name_typed(), caller()
    if who.id == "local":
        return name or "local"
    return f"{name} via {who.name}" if name else who.name


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


@blueprint.errorhandler(ProblemError)
def _on_problem(error: ProblemError) -> Response:
    if error.status == 401:
        wanted = request.full_path.rstrip("?") if request.method == "GET" else url_for(".home")
        response = pages.respond("sign_in.html", 401, fault="", next=wanted)
    else:
        slower, refused = gettext("Wait a moment"), gettext("That is not for this key")
        title = slower if error.status == 429 else refused
        response = _message(error.status, title, error.detail or "")
    response.headers.update(error.headers)
    return response


def _message(
    status: int, title: str, *lines: str, links: Sequence[tuple[str, str]] = ()
) -> Response:
    """Return a page that says what happened, with the ways on; to the calls where none is named."""
    ways = links or [(gettext("To the calls"), url_for(".home"))]
    return pages.respond("message.html", status, title=title, lines=lines, links=ways)


@blueprint.errorhandler(HTTPException)
def _on_http(error: HTTPException) -> Response:
    words = {404: gettext("There is no such page"), 405: gettext("This cannot be done here"),
             413: gettext("That is too much")}  # fmt: skip
    code, unread = error.code or 500, gettext("That cannot be read")
    return _message(code, words.get(code, unread), gettext("Nothing was changed."))


@blueprint.errorhandler(StoreUnavailableError)
def _on_store_away(error: StoreUnavailableError) -> Response:
    told = f"{str(error)[:1].upper()}{str(error)[1:]}."
    title = gettext("The cases cannot be reached now")
    response = _message(503, title, told, gettext("Try again in a moment."))
    response.headers["Retry-After"] = "5"
    return response


@blueprint.errorhandler(Exception)
def _on_error(error: Exception) -> Response:
    """Say what happened to a case, a form or a number; what nobody foresaw goes into the log."""
    match error:
        case NoSuchCase() | NoSuchFinding():
            return _message(404, gettext("There is no such case"), str(error))
        case ClosedCase() | OpenCase():  # somebody closed or reopened it meanwhile
            case = url_for(".case_page", number=(request.view_args or {}).get("number", ""))
            return _message(
                409, gettext("Not taken: the case is not as it was"), str(error),
                gettext("Nothing was changed."), links=[(gettext("To the case"), case)],
            )  # fmt: skip
        case RequestError():
            told = (f"{one.path}: {one.message}." for one in error.faults)
            title = gettext("The knowledge here does not take this case any more")
            return _message(409, title, *told)
        case NothingKeptError():
            kept_by = gettext("It was started without a store, and the desk keeps every call as a "
                              "case. Start it with 'threewire serve'.")  # fmt: skip
            ways = [(gettext("To the bench sums"), url_for(".sum_list"))]
            return _message(503, gettext("This server keeps no cases"), kept_by, links=ways)
        case csrf.ForeignForm():
            why = gettext("It does not carry the mark of a page that this browser got from here, "
                          "or the mark is old. Nothing was changed.")  # fmt: skip
            once = gettext("Load the page again and send it once more. What you typed is kept "
                           "there.")  # fmt: skip
            return _message(400, gettext("This form is not taken"), why, once)
    problems.log_surprise(error)
    not_yours = gettext("Nothing that you typed is at fault. What you typed is kept in this "
                        "browser.")  # fmt: skip
    again = gettext("Try it again; if it stays, tell whoever runs the server.")
    return _message(500, gettext("The desk failed"), not_yours, again)
