"""The page of a call, and the answers that it takes: add, change, strike out, put right."""

from collections.abc import Callable
from itertools import chain
from typing import Any

from flask import Response, current_app, request

from api import strict_json
from api.access import role
from api.answers.finding_words import observed
from api.cases.case import Case, CaseFinding
from api.cases.idempotency import Also
from api.cases.photos import NotAPhoto, read_photo
from api.desk import pages, steps, told, view_model
from api.desk.blueprint import blueprint, book, by, go
from api.desk.calls import SIDES, Call, address_of
from api.desk.forms import FormFault, filled, finding_of
from api.desk.submitting import SEE_OTHER, Refusal, number_of, seen, submitted
from api.strict_json import Json
from api.translation import gettext
from engine.reasoning.request import NOT_KNOWN

IN_PLACE = "X-Threewire-In-Place"  # of a script that puts the next page in the place of this one
STEPS_DRAWN = 24  # of a call, in the small line of a cause
CUT = 300.0  # pixels of the circuit's height beside a step


def call_at(number: str, side: str | None = None, made: Case | None = None) -> Call:
    """Return a case with its kept diagnoses as a call of this browser. Raises NoSuchCase.

    ``made`` is what a step has just made of it.
    """
    side = side or request.args.get("side")
    found = book().followed(number, side if side in SIDES else None, STEPS_DRAWN, made)
    return Call.of(found.case, found.before, pages.audience(), side, found.moments)


def page(call: Call, status: int = 200, check: str | None = None, replaces: int | None = None,
         **more: Any) -> Response:  # fmt: skip
    """Return the page of a call."""
    return pages.respond("call.html", status, **view_model.context(call, check, replaces, **more))


def check_asked(call: Call) -> str | None:
    """Return the check of this machine that the address names, if any."""
    name = request.args.get("check", "")
    return name if name in call.desk.checks(call.inquiry) else None


@blueprint.get("/desk/cases/<number>")
@role("read")
def case_page(number: str) -> Response:
    """Show where a case stands and what is asked next."""
    call = call_at(number)
    old = call.finding(request.args.get("change"))
    if old is not None:
        return page(call, check=old.check, replaces=old.place, form=filled(old.body))
    words = request.args.get("find", "")[:80]
    found = steps.searched(call, words) if "find" in request.args else None
    return page(call, check=check_asked(call), found=found, words=words)


@blueprint.get("/desk/cases/<number>/meaning")
@role("read")
def meaning(number: str) -> Response:
    """Show what each answer to a check would mean; the page puts it where it was asked for."""
    call = call_at(number)
    known = check_asked(call)
    rows = steps.meanings(call, known) if known else []
    return pages.respond("meaning.html", call=call, meanings=rows)


@blueprint.get("/desk/cases/<number>/drawing")
@role("read")
def circuit(number: str) -> Response:
    """Show the circuit with the point to probe for a check; ``part`` shows what is around that."""
    call = call_at(number)
    check = check_asked(call)
    drawn = view_model.drawings(call, check, cut=CUT) if check and request.args.get("part") else {}
    cut = any(drawn.values())
    drawn = drawn if cut else view_model.drawings(call, check)
    return pages.respond("drawing.html", call=call, drawings=drawn, check=check, cut=cut)


@blueprint.get("/desk/cases/<number>/photos/<name>")
@role("read")
def photo(number: str, name: str) -> Response:
    """Show a photo of what was found."""
    response = current_app.response_class(book().photo(number, name), mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=86400"  # its name is its content's
    return response


@blueprint.get("/desk/cases/<number>/version")
@role("read")
def version(number: str) -> Response:
    """Say which version the case has, and what was done since the one that a page shows."""
    case, since = book().get(number), number_of("since")
    words = [one.words for one in book().steps(number, since)[-3:]] if case.version > since else []
    text = strict_json.dumps({"version": case.version, "words": words})
    return current_app.response_class(text, mimetype="application/json")


@blueprint.post("/desk/cases/<number>/told")
@role("read")
def read_out(number: str) -> Response:
    """Note in this browser that warnings of a case were read out: its machine's, STOP cards."""
    call, check = call_at(number, request.form.get("side")), request.form.get("check", "")
    known = check if check in call.desk.knowledge.checks else None
    response = go(address_of(call.case, call.side, known))
    return told.tell(response, call.case.number, request.form.getlist("caution"))


@blueprint.post("/desk/cases/<number>/answers")
@role("agent")
def answer(number: str) -> Response:
    """Take an answer, or one in the place of another."""
    form = request.form
    side, check = form.get("side"), form.get("check", "")
    call = Call.of(book().get(number), None, pages.audience(), side)  # no diagnosis is needed here
    if check not in call.desk.knowledge.checks:
        unknown = gettext("That check is not known here.")
        return page(call_at(number, side), 422, faults={"form": unknown})
    old = call.finding(form.get("replaces"))

    def again(no: Refusal) -> Response:
        shown, place = call_at(number, side), old.place if old else None
        if no.stale is not None:
            return _stale(shown, no, check, place)
        return page(shown, 422, check, place, form=form, faults=no.faults)

    made: list[Case] = []

    def take(also: Also | None) -> Case:
        made[:] = [_take(call, check, old, also)]
        return made[0]

    response = submitted(take, lambda case: address_of(case, call.side), again)
    # who does not know did not do the step: its own cautions are told once more where it comes next
    names = ["caution"] if form.get("outcome") == NOT_KNOWN else ["caution", "of_step"]
    response = told.tell(response, call.case.number, chain(*map(form.getlist, names)))
    if response.status_code != SEE_OTHER or IN_PLACE not in request.headers:
        return response
    return _in_place(response, call_at(number, call.side, *made))


def _in_place(response: Response, call: Call) -> Response:
    """Return the page that a response leads to: the browser's script asks for it at once.

    It spares an agent who waits the second request. ``Content-Location`` says which page it is
    (RFC 9110, 8.7).
    """
    shown = page(call)
    shown.headers["Content-Location"] = response.headers["Location"]
    shown.headers.extend(("Set-Cookie", one) for one in response.headers.getlist("Set-Cookie"))
    return shown


def _take(call: Call, check: str, old: CaseFinding | None, also: Also | None) -> Case:
    """Add a finding, or put it in the place of one; of two solenoids it belongs to a side."""
    body = finding_of(request.form, check, call.desk.knowledge)
    body = call.desk.sided(body, old.side if old else call.side)
    file = request.files.get("photo")
    sent = file.read() if file else b""
    try:
        photo = read_photo(sent) if sent else None
    except NotAPhoto as fault:
        raise FormFault({"photo": str(fault)}) from None
    if old is not None:
        return book().replace_finding(call.case, old.place, body, by(), seen(), also, photo)
    return book().add_findings(call.case, [body], by(), seen(), also, photo)


def _stale(call: Call, no: Refusal, check: str, place: int | None) -> Response:
    """Show what others did meanwhile, and offer what was typed once more."""
    try:
        body = finding_of(request.form, check, call.desk.knowledge)
        found = observed(body, call.desk.knowledge)
        offer = gettext("%(check)s: %(answer)s", check=call.desk.name(check), answer=found)
    except (FormFault, KeyError):
        offer = call.desk.name(check)
    if not call.case.is_open:
        return page(call, no.status, stale=no.changes, offer=offer)
    still = place if place in {one.place for one in call.case.counted} else None
    return page(call, no.status, check, still, form=request.form, stale=no.changes, offer=offer)


def stepped(number: str, step: Callable[[Also | None], Case]) -> Response:
    """Take one step of a case, once, and lead back to it; a stale or bad step is told there."""
    side = request.form.get("side")
    return submitted(
        step, lambda made: address_of(made, side),
        lambda no: page(call_at(number, side), no.status, faults=no.faults, stale=no.changes),
    )  # fmt: skip


def _changed(number: str, changes: Json) -> Response:
    return stepped(number, lambda also: book().change(number, changes, by(), seen(), also=also))


@blueprint.post("/desk/cases/<number>/strike")
@role("agent")
def withdraw(number: str) -> Response:
    """Withdraw an answer: it stays on the page and counts for nothing."""
    place, because = number_of("place"), request.form.get("because", "")[:200].strip()
    return stepped(
        number, lambda also: book().withdraw(number, place, by(), because, seen(), also=also)
    )


@blueprint.post("/desk/cases/<number>/restore")
@role("agent")
def restore(number: str) -> Response:
    """Let an answer that was struck out count again; what was put in its place is struck out."""
    place = number_of("place")
    return stepped(number, lambda also: book().restore(number, place, by(), seen(), also))


@blueprint.post("/desk/cases/<number>/control")
@role("agent")
def control(number: str) -> Response:
    """Take the control type that the answers tell."""
    return _changed(number, {"machine": {"control": request.form.get("control", "")[:40]}})


@blueprint.post("/desk/cases/<number>/put-right")
@role("agent")
def put_right(number: str) -> Response:
    """Note that a cause was put right and the complaint is unchanged, or take that note back."""
    case, name = book().get(number), request.form.get("cause", "")[:200]
    if name in case.excluded:  # said at another door
        return _changed(number, {"excluded": [one for one in case.excluded if one != name]})
    done = [one for one in case.done if name not in (one.get("cause"), one.get("part"))]
    noted = done if len(done) < len(case.done) else [*done, {"cause": name}]
    return _changed(number, {"done": noted})
