"""``/desk``: the calls, a case by its number, and who sits here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from flask import Response, request, url_for

from api.access import role
from api.access import session as signed
from api.answers.conclusions import hundredths
from api.cases import NoSuchCase
from api.cases.case import Case, CasePage
from api.cases.texts import fault_of
from api.cases.wording import ended
from api.desk import pages
from api.desk.blueprint import NAME_LETTERS, blueprint, book, go, keep_name, name_typed
from api.desk.calls import address_of, label_of
from api.desk.forms import tidy
from api.service import current
from engine import RequestError

SHOWN = 30
STATES = ("open", "closed", "all")
TROUBLES = {"fuel-shutoff": "Engine", "brake-release": "Brake"}
MOST_LETTERS = 80


@blueprint.get("/desk")
@role("read")
def home() -> Response:
    """Show the open cases, or those that were searched for."""
    return _home({}, "", [])


def _home(faults: Mapping[str, str], typed: str, nearest: list[str], status: int = 200) -> Response:
    words = _printable(request.args.get("q", ""))[:MOST_LETTERS]
    asked = request.args.get("state", "open")
    state = asked if asked in STATES else "open"
    found = _listed(words, state, request.args.get("after"))
    return pages.respond(
        "home.html", status, faults=faults, typed=typed, words=words, state=state,
        nearest=[shown(book().get(one)) for one in nearest],
        cases=[shown(one) for one in found.cases], name=name_typed(),
        heading={"open": "Open cases", "closed": "Closed cases", "all": "All cases"}[state],
        more=url_for(".home", q=words, state=state, after=found.next_cursor)
        if found.next_cursor else "",
    )  # fmt: skip


def _listed(words: str, state: str, after: str | None) -> CasePage:
    only = None if state == "all" else state
    try:
        return book().list(state=only, text=words or None, cursor=after, limit=SHOWN)
    except RequestError:  # a page's mark that is not ours: begin again
        return book().list(state=only, text=words or None, limit=SHOWN)


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


@dataclass(frozen=True)
class Entry:
    """A case as a list shows it."""

    case: Case
    label: str
    trouble: str
    leads: str


def shown(case: Case) -> Entry:
    """Return what a list shows of a case."""
    leading = ((case.leading or {}).get("causes") or [None])[0]
    leads = f"{leading['name']}, {hundredths(leading['probability'])}" if leading else ""
    if case.outcome:
        leads = f"Was: {ended(case.outcome.cause, current().knowledge)}"
    return Entry(case, label_of(case), TROUBLES.get(case.machine.get("duty", ""), ""), leads)


def known_machines(cases: Iterable[Case], most: int = 6) -> list[Entry]:
    """Return the machines of the latest cases, each once, those without a fleet number not."""
    found: dict[str, Entry] = {}
    for one in cases:
        if one.fleet_number and len(found) < most:
            found.setdefault(one.fleet_number, shown(one))
    return list(found.values())


@blueprint.get("/desk/resume")
@role("read")
def resume() -> Response:
    """Lead to a case by the number that was read out; say so kindly when it was misheard."""
    typed = _printable(request.args.get("number", ""))[:40]
    try:
        found = book().get(typed)
    except NoSuchCase as error:
        return _home({"number": str(error)}, typed, error.nearest, 404)
    return go(address_of(found))


@blueprint.post("/desk/name")
@role("read")
def name() -> Response:
    """Keep the name of whoever sits here; it stands beside each answer."""
    typed = tidy(request.form.get("name", ""), lines=False)
    response = go(url_for(".home"))
    if not fault_of(typed, NAME_LETTERS):
        keep_name(response, typed)
    return response


@blueprint.get("/desk/sign-in")
@role("public")
def sign_in_page() -> Response:
    """Ask for a key."""
    return pages.respond("sign_in.html", fault="", next=_next(request.args.get("next", "")))


@blueprint.post("/desk/sign-in")
@role("public")
def sign_in() -> Response:
    """Take a key and start a session."""
    wanted = _next(request.form.get("next", ""))
    if signed.sign_in(request.form.get("key", "")[:200]) is None:
        fault = "There is no such key, or it is revoked."
        return pages.respond("sign_in.html", 422, fault=fault, next=wanted)
    return go(wanted)


@blueprint.post("/desk/sign-out")
@role("public")
def sign_out() -> Response:
    """End the session."""
    signed.sign_out()
    return go(url_for(".sign_in"))


def _next(wanted: str) -> str:
    """Return where to go after signing in: a page of the desk and nothing else."""
    plain = wanted == "/desk" or wanted.startswith(("/desk/", "/desk?"))
    return wanted if plain and wanted.isprintable() and "\\" not in wanted else "/desk"
