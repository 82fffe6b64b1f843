"""The page of a call, and the answers that it takes: add, change, strike out, put right."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import Response, current_app, request, url_for

from api import strict_json
from api.access import role
from api.cases import StaleCase
from api.cases.case import Case
from api.cases.idempotency import Also
from api.desk import pages, steps
from api.desk import view_model as showing
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import SIDES, Call
from api.desk.forms import Form, FormFault, finding_of
from api.desk.idempotency import once
from api.desk.machine import version_of
from api.interview.record import Refused, accept
from api.interview.state import Entry
from api.interview.wording import observed
from engine import RequestError


def call_of(case: Case, side: str | None = None) -> Call:
    """Return a case as a call of this browser."""
    return Call.of(case.to_dict(), pages.audience(), side or request.args.get("side"))


def page(call: Call, status: int = 200, check: str | None = None, replaces: int | None = None,
         **more: Any) -> Response:  # fmt: skip
    """Return the page of a call."""
    return pages.respond("call.html", status, **showing.context(call, check, replaces, **more))


@blueprint.get("/desk/cases/<number>")
@role("read")
def case_page(number: str) -> Response:
    """Show where a case stands and what is asked next."""
    call = call_of(book().get(number))
    replaces = next(
        (one for one in call.told if str(one.place) == request.args.get("change")), None
    )
    if replaces is not None:
        form = _filled(replaces.body)
        return page(call, check=replaces.body["check"], replaces=replaces.place, form=form)
    check = request.args.get("check")
    known = check if check in call.desk.checks(call.case) else None
    words = request.args.get("find", "")[:80]
    found = steps.searched(call, words) if "find" in request.args else None
    return page(call, check=known, found=found, words=words)


def _filled(body: Mapping[str, Any]) -> Form:
    """Return the form that shows an answer as it was given."""
    form: Form = Form()
    for name in ("outcome", "value", "unit", "plug", "moment", "measured_to", "lead_ohms",
                 "celsius", "note"):  # fmt: skip
        if name in body:
            value = body[name]
            form[name] = f"{value:g}" if isinstance(value, (int, float)) else str(value)
    form.setlist("circumstances", list(body.get("circumstances", ())))
    return form


@blueprint.get("/desk/cases/<number>/meaning")
@role("read")
def meaning(number: str) -> Response:
    """Show what each answer to a check would mean; the page puts it where it was asked for."""
    call = call_of(book().get(number))
    check = request.args.get("check", "")
    known = check if check in call.desk.checks(call.case) else None
    rows = steps.meanings(call, known) if known else []
    return pages.respond("meaning.html", call=call, meanings=rows)


@blueprint.get("/desk/cases/<number>/drawing")
@role("read")
def circuit(number: str) -> Response:
    """Show the circuit with the point to probe for a check."""
    call = call_of(book().get(number))
    check = request.args.get("check")
    known = check if check in call.desk.checks(call.case) else None
    return pages.respond("drawing.html", call=call, drawings=showing.drawings(call, known))


@blueprint.get("/desk/cases/<number>/version")
@role("read")
def version(number: str) -> Response:
    """Say which version the case has, and what was done since the one that a page shows."""
    seen = request.args.get("since", "")
    since = int(seen) if seen.isdecimal() and len(seen) < 10 else 0
    document = book().get(number).to_dict()
    done = book().steps(number, since) if document["version"] > since else []
    told = {"version": document["version"], "words": [one.words for one in done[-3:]]}
    return current_app.response_class(strict_json.dumps(told), mimetype="application/json")


@blueprint.post("/desk/cases/<number>/answers")
@role("agent")
def answer(number: str) -> Response:
    """Take an answer, or one in the place of another."""
    form = request.form
    call = call_of(book().get(number), form.get("side"))
    check = form.get("check", "")
    if check not in call.desk.knowledge.checks:
        return page(call, 422, faults={"form": "That check is not known here."})
    replaces = next((one for one in call.told if str(one.place) == form.get("replaces")), None)
    place = replaces.place if replaces else None
    try:
        body = _body(call, check, replaces.body if replaces else None)
        return once(
            lambda also: _take(call, body, place, also), lambda made: _back(made, call.side)
        )
    except FormFault as fault:
        return page(call, 422, check, place, form=form, faults=fault.faults)
    except RequestError as error:
        return page(call, 422, check, place, form=form, faults=_faults(error))
    except StaleCase as stale:
        return _stale(stale, check, place)


def _body(call: Call, check: str, old: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the finding; on a machine with two solenoids it belongs to a side."""
    found = finding_of(request.form, check, call.desk.knowledge)
    if old is not None and "side" in old:
        return {**found, "side": old["side"]}
    shared = call.desk.knowledge.checks[check].shared_between_sides
    return {**found, "side": call.side} if call.side and not shared else found


def _take(call: Call, body: dict[str, Any], replaces: int | None, also: Also | None) -> Case:
    """Add a finding; one that is changed is struck out first, when the new one is good."""
    seen = version_of(request.form)
    if replaces is not None:
        _try(call, body)
        number = len(call.told) + 1
        seen = book().withdraw(
            call.number, replaces, by(), f"changed, see answer {number}", seen
        ).version  # fmt: skip
    return book().add_findings(call.number, [body], by(), seen, also)


def _try(call: Call, body: dict[str, Any]) -> None:
    """Raise FormFault for a finding that the engine would not take."""
    entries = [Entry("machine", key, value) for key, value in call.case.fields.items()]
    try:
        accept([*entries, Entry("finding", body["check"], body)], len(entries), call.desk)
    except Refused as fault:
        field = "value" if "value" in body else "form"
        raise FormFault({field: " ".join(fault.messages)}) from None


def _faults(error: RequestError) -> dict[str, str]:
    """Return the engine's faults by the field that they are about."""
    found: dict[str, str] = {}
    for fault in error.faults:
        name = fault.path.rpartition(".")[2]
        fields = ("value", "unit", "lead_ohms", "celsius", "plug", "moment", "measured_to", "note")
        message = fault.message[:1].upper() + fault.message[1:]
        found.setdefault(name if name in fields else "form", f"{message}.")
    return found


def _stale(stale: StaleCase, check: str, replaces: int | None) -> Response:
    """Show what others did meanwhile, and offer what was typed once more."""
    call = call_of(stale.current, request.form.get("side"))
    if not call.is_open:
        return page(call, 412, stale=stale.changes, offer=_offered(call, check))
    still = replaces if any(one.place == replaces for one in call.counting) else None
    return page(
        call, 412, check, still, form=request.form, stale=stale.changes,
        offer=_offered(call, check),
    )  # fmt: skip


def _offered(call: Call, check: str) -> str:
    """Return in words what was typed and not taken."""
    try:
        body = finding_of(request.form, check, call.desk.knowledge)
        return f"{call.desk.name(check)}: {observed(body, call.desk)}"
    except (FormFault, KeyError):
        return call.desk.name(check)


def _back(document: Mapping[str, Any], side: str | None) -> str:
    """Return the page that follows an answer."""
    number = document["number"].replace(" ", "")
    return url_for("desk.case_page", number=number, side=side if side in SIDES else None)


def changed(number: str, changes: Mapping[str, Any]) -> Response:
    """Change a case and lead back to it; a stale page is told so."""
    return _stepped(
        number,
        lambda also: book().change(number, changes, by(), version_of(request.form), also=also),
    )


@blueprint.post("/desk/cases/<number>/strike")
@role("agent")
def strike(number: str) -> Response:
    """Strike an answer out: it stays on the page and counts for nothing."""
    place = request.form.get("place", "")
    at = int(place) if place.isdecimal() and len(place) < 6 else 0
    because = request.form.get("because", "")[:200].strip()
    return _stepped(
        number,
        lambda also: book().withdraw(
            number, at, by(), because, version_of(request.form), also=also
        ),
    )


def _stepped(number: str, step: Callable[[Also | None], Case]) -> Response:
    """Take one step of a case, once, and lead back to it; a stale or bad step is told there."""
    side = request.form.get("side")
    try:
        return once(step, lambda made: _back(made, side))
    except StaleCase as stale:
        return page(call_of(stale.current, side), 412, stale=stale.changes)
    except RequestError as error:
        return page(call_of(book().get(number), side), 422, faults=_faults(error))


@blueprint.post("/desk/cases/<number>/control")
@role("agent")
def control(number: str) -> Response:
    """Take the control type that the answers tell."""
    return changed(number, {"machine": {"control": request.form.get("control", "")[:40]}})


@blueprint.post("/desk/cases/<number>/put-right")
@role("agent")
def put_right(number: str) -> Response:
    """Note that a cause was put right and the complaint is unchanged, or take that note back."""
    known = book().get(number).excluded
    cause = request.form.get("cause", "")[:60]
    excluded = [one for one in known if one != cause]
    return changed(number, {"excluded": [*excluded, cause] if cause not in known else excluded})
