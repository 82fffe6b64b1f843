"""The page of a call, and the answers that it takes: add, change, strike out, put right."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Response, current_app, request

from api import strict_json
from api.access import role
from api.answers.finding_words import observed
from api.cases import StaleCase
from api.cases.case import Case, CaseFinding, Json
from api.cases.idempotency import Also
from api.desk import pages, steps, view_model
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import SIDES, Call, address_of
from api.desk.forms import Form, FormFault, finding_of
from api.desk.idempotency import once
from api.desk.machine import version_of
from engine import RequestError
from engine.reasoning.request import read_request


def call_at(number: str, side: str | None = None) -> Call:
    """Return a case with its kept diagnoses as a call of this browser. Raises NoSuchCase."""
    side = side or request.args.get("side")
    case = book().diagnosed(number, side if side in SIDES else None)
    return Call.of(case, book().diagnosis_before(case), pages.audience(), side)


def page(call: Call, status: int = 200, check: str | None = None, replaces: int | None = None,
         **more: Any) -> Response:  # fmt: skip
    """Return the page of a call."""
    return pages.respond("call.html", status, **view_model.context(call, check, replaces, **more))


@blueprint.get("/desk/cases/<number>")
@role("read")
def case_page(number: str) -> Response:
    """Show where a case stands and what is asked next."""
    call = call_at(number)
    replaces = call.told(request.args.get("change"))
    if replaces is not None:
        form = _filled(replaces.body)
        return page(call, check=replaces.check, replaces=replaces.place, form=form)
    check = request.args.get("check")
    known = check if check in call.desk.checks(call.inquiry) else None
    words = request.args.get("find", "")[:80]
    found = steps.searched(call, words) if "find" in request.args else None
    return page(call, check=known, found=found, words=words)


def _filled(body: Json) -> Form:
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
    call = call_at(number)
    check = request.args.get("check", "")
    known = check if check in call.desk.checks(call.inquiry) else None
    rows = steps.meanings(call, known) if known else []
    return pages.respond("meaning.html", call=call, meanings=rows)


@blueprint.get("/desk/cases/<number>/drawing")
@role("read")
def circuit(number: str) -> Response:
    """Show the circuit with the point to probe for a check."""
    call = call_at(number)
    check = request.args.get("check")
    known = check if check in call.desk.checks(call.inquiry) else None
    return pages.respond("drawing.html", call=call, drawings=view_model.drawings(call, known))


@blueprint.get("/desk/cases/<number>/version")
@role("read")
def version(number: str) -> Response:
    """Say which version the case has, and what was done since the one that a page shows."""
    seen = request.args.get("since", "")
    since = int(seen) if seen.isdecimal() and len(seen) < 10 else 0
    case = book().get(number)
    told = [one.words for one in book().steps(number, since)[-3:]] if case.version > since else []
    text = strict_json.dumps({"version": case.version, "words": told})
    return current_app.response_class(text, mimetype="application/json")


@blueprint.post("/desk/cases/<number>/answers")
@role("agent")
def answer(number: str) -> Response:
    """Take an answer, or one in the place of another."""
    form = request.form
    call = call_at(number, form.get("side"))
    check = form.get("check", "")
    if check not in call.desk.knowledge.checks:
        return page(call, 422, faults={"form": "That check is not known here."})
    old = call.told(form.get("replaces"))
    place = old.place if old else None
    try:
        body = _body(call, check, old)
        return once(
            lambda also: _take(call, body, old, also), lambda case: address_of(case, call.side)
        )
    except FormFault as fault:
        return page(call, 422, check, place, form=form, faults=fault.faults)
    except RequestError as error:
        return page(call, 422, check, place, form=form, faults=_faults(error))
    except StaleCase as stale:
        return _stale(stale, check, place)


def _body(call: Call, check: str, old: CaseFinding | None) -> Json:
    """Return the finding; on a machine with two solenoids it belongs to a side."""
    found = finding_of(request.form, check, call.desk.knowledge)
    shared = call.desk.knowledge.checks[check].shared_between_sides
    side = (None if shared else call.side) if old is None else old.side
    return {**found, "side": side} if side else found


def _take(call: Call, body: Json, old: CaseFinding | None, also: Also | None) -> Case:
    """Add a finding; one that is changed is withdrawn first, when the new one is good."""
    seen, number = version_of(request.form), call.case.number
    if old is not None:
        _try(call, body)
        because = f"changed, see answer {len(call.case.findings) + 1}"
        seen = book().withdraw(number, old.place, by(), because, seen).version
    return book().add_findings(number, [body], by(), seen, also)


def _try(call: Call, body: Json) -> None:
    """Raise FormFault for a finding that the engine would not take."""
    case = replace(call.case, findings=())
    try:
        read_request({**case.request(), "findings": [body]}, call.desk.knowledge)
    except RequestError as error:
        field = "value" if "value" in body else "form"
        raise FormFault({field: " ".join(one.message for one in error.faults)}) from None


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
    call = call_at(stale.current.number, request.form.get("side"))
    if not call.case.is_open:
        return page(call, 412, stale=stale.changes, offer=_offered(call, check))
    still = replaces if any(one.place == replaces for one in call.case.counted) else None
    return page(
        call, 412, check, still, form=request.form, stale=stale.changes,
        offer=_offered(call, check),
    )  # fmt: skip


def _offered(call: Call, check: str) -> str:
    """Return in words what was typed and not taken."""
    try:
        body = finding_of(request.form, check, call.desk.knowledge)
        return f"{call.desk.name(check)}: {observed(body, call.desk.knowledge)}"
    except (FormFault, KeyError):
        return call.desk.name(check)


def changed(number: str, changes: Json) -> Response:
    """Change a case and lead back to it; a stale page is told so."""
    return _stepped(
        number,
        lambda also: book().change(number, changes, by(), version_of(request.form), also=also),
    )


@blueprint.post("/desk/cases/<number>/strike")
@role("agent")
def withdraw(number: str) -> Response:
    """Withdraw an answer: it stays on the page and counts for nothing."""
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
        return once(step, lambda made: address_of(made, side))
    except StaleCase as stale:
        return page(call_at(stale.current.number, side), 412, stale=stale.changes)
    except RequestError as error:
        return page(call_at(number, side), 422, faults=_faults(error))


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
