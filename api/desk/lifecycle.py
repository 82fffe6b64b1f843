"""How a case goes on: handed over, printed, closed with what it was, opened again."""

import ipaddress
from collections.abc import Mapping
from urllib.parse import urlsplit

import segno
from flask import Response, request, url_for

from api.access import role
from api.answers.conclusions import cause_of, is_cause
from api.cases import StaleCase
from api.cases.case import Json
from api.cases.edits import NOT_A_CAUSE
from api.cases.texts import fault_of
from api.desk import evidence, pages, steps
from api.desk.answering import call_at, page
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import Call, address_of
from api.desk.forms import Form, tidy
from api.desk.idempotency import once
from api.desk.machine import version_of
from api.desk.view_model import drawing
from api.interview.questions import machine_words
from engine import RequestError

LIKELY = 6  # causes at the top of the list when a case is closed


@blueprint.get("/desk/cases/<number>/hand-over")
@role("agent")
def hand_over_page(number: str) -> Response:
    """Show the link and the code for the technician's phone."""
    return _hand_over(call_at(number), request.args.get("to", ""), {})


def _hand_over(
    call: Call, typed: str, faults: Mapping[str, str], status: int = 200, stale: str = ""
) -> Response:
    asked = {"number": call.case.number, "as": "technician"}
    link = url_for(".case_page", _external=True, **asked)
    code = segno.make(link, error="m").svg_inline(
        scale=1, border=4, svgclass="qr", lineclass=None, omitsize=True, dark="#000", light="#fff"
    )
    return pages.respond(
        "hand_over.html", status, call=call, link=link, code=pages.safe(code), typed=typed,
        faults=faults, only_here=_is_loopback(request.host_url), stale=stale,
    )  # fmt: skip


def _is_loopback(address: str) -> bool:
    host = urlsplit(address).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@blueprint.post("/desk/cases/<number>/hand-over")
@role("agent")
def hand_over(number: str) -> Response:
    """Note who has the case now."""
    to = tidy(request.form.get("handed_to", ""), lines=False)
    address = url_for(".hand_over", number=number)
    try:
        seen, changes = version_of(request.form), {"handed_to": to}
        return once(
            lambda also: book().change(number, changes, by(), seen, also), lambda _: address
        )
    except StaleCase as stale:
        return _hand_over(call_at(stale.current.number), to, {}, 412, str(stale))
    except RequestError as error:
        fault = error.faults[0].message
        return _hand_over(call_at(number), to, {"handed_to": f"This {fault}."}, 422)


@blueprint.get("/desk/cases/<number>/close")
@role("agent")
def close_page(number: str) -> Response:
    """Ask what it was."""
    form: Form = Form({"cause": request.args.get("cause", "")})
    return _close(call_at(number), form, {})


def _close(
    call: Call, form: Form, faults: Mapping[str, str], status: int = 200, stale: str = ""
) -> Response:
    ranked = [(one["id"], one["name"]) for one in call.answer["causes"] if is_cause(one["id"])]
    likely = ranked[:LIKELY]
    rest = sorted(ranked[LIKELY:], key=lambda one: one[1])
    chosen = form.get("cause") or ""
    entry = cause_of(call.answer, chosen or likely[0][0])
    return pages.respond(
        "close.html", status, call=call, form=form, faults=faults, likely=likely, rest=rest,
        others=[(key, f"{words[:1].upper()}{words[1:]}") for key, words in NOT_A_CAUSE.items()],
        proof=entry["proof_of_repair"], proof_of=entry["name"], stale=stale,
        handing_back=call.order.handing_back,
    )  # fmt: skip


@blueprint.post("/desk/cases/<number>/close")
@role("agent")
def close(number: str) -> Response:
    """Close the case with the confirmed cause."""
    form = request.form
    outcome, faults = _outcome(form)
    if faults:
        return _close(call_at(number), form, faults, 422)
    try:
        seen = version_of(form)
        return once(lambda also: book().close(number, outcome, by(), seen, also), address_of)
    except StaleCase as stale:
        return _close(call_at(stale.current.number), form, {}, 412, str(stale))
    except RequestError as error:
        found = {fault.path.split("[")[0]: _sentence(fault.message) for fault in error.faults}
        return _close(call_at(number), form, found, 422)


def _outcome(form: Form) -> tuple[Json, dict[str, str]]:
    """Return how it ended as the book takes it, and what is wrong with the form."""
    faults: dict[str, str] = {}
    minutes = form.get("minutes", "").strip()
    if not form.get("cause"):
        faults["cause"] = "Choose what it was. 'It was never found' is an answer too."
    if minutes and not (minutes.isdecimal() and len(minutes) < 7):
        faults["minutes"] = "Type whole minutes, such as 45, or leave it empty."
    lines = tidy(form.get("replaced", ""), lines=True).split("\n")
    outcome = {
        "cause": form.get("cause", ""), "note": tidy(form.get("note", ""), lines=True),
        "replaced": [line.strip() for line in lines if line.strip()],
        "minutes": int(minutes) if minutes and "minutes" not in faults else None,
    }  # fmt: skip
    return outcome, faults


def _sentence(message: str) -> str:
    return f"{message[:1].upper()}{message[1:]}."


@blueprint.post("/desk/cases/<number>/reopen")
@role("agent")
def reopen(number: str) -> Response:
    """Open a closed case again."""
    because = tidy(request.form.get("because", ""), lines=True)
    fault = fault_of(because, 500, lines=True)
    call = call_at(number)
    if fault:
        return page(call, 422, faults={"because": f"The reason {fault}."})
    try:
        seen = version_of(request.form)
        return once(lambda also: book().reopen(number, because, by(), seen, also), address_of)
    except StaleCase as stale:
        return page(call_at(stale.current.number), 412, stale=stale.changes)


@blueprint.get("/desk/cases/<number>/sheet")
@role("read")
def sheet(number: str) -> Response:
    """Show the work order on one page, to be printed; the circuit may have a page of its own."""
    call = call_at(number)
    paper, own = request.args.get("paper"), request.args.get("circuit") == "own"
    order = call.order
    weighty = {**order.cause, "evidence": order.evidence}
    probe = order.checks[0]["check"] if order.checks else None
    return pages.respond(
        "sheet.html", call=call, order=order, own=own, machine=machine_words(call.inquiry.fields),
        paper="letter" if paper == "letter" else "a4", checks=_checks(call),
        pieces=evidence.pieces(weighty, call.case, call.desk.knowledge, call.places),
        drawing=pages.safe(drawing(call, probe, "wide")),
    )  # fmt: skip


def _checks(call: Call) -> list[Json]:
    """Return the checks for whoever goes to the machine, with room for what is found."""
    checks = call.desk.knowledge.checks
    return [
        {**one, "unit": reading.unit if (reading := checks[one["check"]].reading) else "",
         "choices": [option.words for option in steps.ask(call, one["check"]).options]}
        for one in call.order.checks
    ]  # fmt: skip
