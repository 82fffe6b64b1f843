"""``/desk``: the calls, a case by its number, and who sits here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from flask import Response, request, url_for

from api.access import role
from api.access import session as signed
from api.answers.conclusions import hundredths
from api.cases import NoSuchCase
from api.cases.case import Case, CasePage
from api.cases.texts import fault_of
from api.cases.wording import ended
from api.desk import pages, told
from api.desk.blueprint import NAME_COOKIE, NAME_LETTERS, blueprint, book, by, go, name_typed
from api.desk.calls import address_of, label_of
from api.desk.forms import tidy
from api.desk.submitting import seen, submitted
from api.interview.session import plain
from api.service import current
from api.translation import gettext
from engine import RequestError

SHOWN = 30
MINE_AMONG = 100  # the latest open cases among which a person's own are looked for
STATES = ("open", "mine", "closed", "all")
MOST_LETTERS = 80


@blueprint.get("/desk")
@role("read")
def home() -> Response:
    """Show the open cases, or those that were searched for."""
    return _home({}, "", [])


def _home(faults: Mapping[str, str], typed: str, nearest: list[str], status: int = 200) -> Response:
    words = plain(request.args.get("q", ""))[:MOST_LETTERS]
    asked = request.args.get("state", "open")
    state = asked if asked in STATES else "open"
    found = _listed(words, state, request.args.get("after"))
    waiting = book().due(SHOWN) if state in ("open", "mine") and not words else ()
    if state == "mine":
        waiting = tuple(one for one in waiting if _is_mine(one))
    more = url_for(".home", q=words, state=state, after=found.next_cursor)
    names = (gettext("Open cases"), gettext("My open cases"), gettext("Closed cases"),
             gettext("All cases"))  # fmt: skip
    return pages.respond(
        "home.html", status, faults=faults, typed=typed, words=words, state=state,
        states=dict(zip(STATES, names, strict=True)), name=name_typed(),
        nearest=[shown(book().get(one)) for one in nearest],
        due=[shown(one) for one in waiting],
        cases=[shown(one) for one in found.cases if one.number not in {w.number for w in waiting}],
        more=more if found.next_cursor else "",
    )  # fmt: skip


def _listed(words: str, state: str, after: str | None) -> CasePage:
    if state == "mine":
        found = book().list(state="open", text=words or None, limit=MINE_AMONG).cases
        mine = tuple(one for one in found if _is_mine(one))
        return CasePage(mine, None)
    only = None if state == "all" else state
    try:
        return book().list(state=only, text=words or None, cursor=after, limit=SHOWN)
    except RequestError:  # a page's mark that is not ours: begin again
        return book().list(state=only, text=words or None, limit=SHOWN)


def _is_mine(case: Case) -> bool:
    """Return whether whoever sits here has the case, or opened it and nobody else has it."""
    return (case.handed_to or case.opened_by) in (by(), name_typed())


@dataclass(frozen=True)
class ListedCase:
    """A case as a list shows it."""

    case: Case
    label: str
    trouble: str
    leads: str

    @property
    def call_back(self) -> datetime | None:
        """Return when the caller is to be called back."""
        return datetime.fromisoformat(self.case.call_back_at) if self.case.call_back_at else None


def shown(case: Case) -> ListedCase:
    """Return what a list shows of a case."""
    leading = ((case.leading or {}).get("causes") or [None])[0]
    leads = f"{leading['name']}, {hundredths(leading['probability'])}" if leading else ""
    if case.outcome:
        leads = gettext("Was: %(cause)s", cause=ended(case.outcome.cause, current().knowledge))
    troubles = {"fuel-shutoff": gettext("Engine"), "brake-release": gettext("Brake")}
    return ListedCase(case, label_of(case), troubles.get(case.machine.get("duty", ""), ""), leads)


def known_machines(cases: Iterable[Case], most: int = 6) -> list[ListedCase]:
    """Return the machines of the latest cases, each once, those without a fleet number not."""
    found: dict[str, ListedCase] = {}
    for one in cases:
        if one.fleet_number and len(found) < most:
            found.setdefault(one.fleet_number, shown(one))
    return list(found.values())


def fleet_cases(fleet_number: str, state: str | None) -> tuple[ListedCase, ...]:
    """Return the latest cases of a machine, newest first; none where it has no fleet number."""
    number = tidy(fleet_number, lines=False)
    if not number or fault_of(number, MOST_LETTERS):
        return ()
    found = book().list(fleet_number=number, state=state, limit=SHOWN).cases
    return tuple(shown(one) for one in found)


@blueprint.post("/desk/cases/<number>/called-back")
@role("agent")
def called_back(number: str) -> Response:
    """Note that the caller was called back: nobody waits any more."""
    calls = url_for(".home")
    return submitted(
        lambda also: book().change(number, {"call_back_at": None}, by(), seen(), also),
        lambda _: calls, lambda _: go(calls),
    )  # fmt: skip


@blueprint.get("/desk/resume")
@role("read")
def resume() -> Response:
    """Lead to a case by the number that was read out; say so kindly when it was misheard."""
    typed = plain(request.args.get("number", ""))[:40]
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
        pages.keep_cookie(response, NAME_COOKIE, typed)
        if typed != name_typed():
            told.forget(response)
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
        fault = gettext("There is no such key, or it is revoked.")
        return pages.respond("sign_in.html", 422, fault=fault, next=wanted)
    return told.forget(go(wanted))


@blueprint.post("/desk/sign-out")
@role("public")
def sign_out() -> Response:
    """End the session."""
    signed.sign_out()
    return told.forget(go(url_for(".sign_in")))


def _next(wanted: str) -> str:
    """Return where to go after signing in: a page of the desk and nothing else."""
    plain = wanted == "/desk" or wanted.startswith(("/desk/", "/desk?"))
    return wanted if plain and wanted.isprintable() and "\\" not in wanted else "/desk"
