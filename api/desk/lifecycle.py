"""How a case goes on: handed over, printed, closed with what it was, opened again."""

from collections.abc import Mapping
from urllib.parse import urlsplit

import segno
from flask import Response, request, url_for

from api.access import role
from api.access.exposure import is_loopback
from api.answers.conclusions import cause_of, is_cause
from api.cases.case import Case
from api.cases.edits import NOT_A_CAUSE
from api.cases.idempotency import Also
from api.cases.texts import fault_of
from api.cases.wording import ended
from api.desk import pages
from api.desk.answering import call_at, stepped
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import Call, address_of
from api.desk.forms import Form, FormFault, tidy
from api.desk.submitting import NEW, Refusal, seen, submitted
from api.desk.view_model import drawings, evidence
from api.drawing import Shape
from api.interview.next_step import check_prompt
from api.interview.questions import machine_words
from api.strict_json import Json
from api.translation import gettext

PAPER_CUT = 230.0  # pixels of the circuit's height on a sheet
LIKELY = 6  # causes at the top of the list when a case is closed
BECAUSE_LETTERS = 500


@blueprint.get("/desk/cases/<number>/hand-over")
@role("agent")
def hand_over_page(number: str) -> Response:
    """Show the link and the code for the technician's phone."""
    return _hand_over(call_at(number), request.args.get("to", ""))


def _hand_over(call: Call, typed: str, no: Refusal = NEW) -> Response:
    link = url_for(".case_page", _external=True, number=call.case.number, **{"as": "technician"})
    code = segno.make(link, error="m").svg_inline(
        scale=1, border=4, svgclass="qr", lineclass=None, omitsize=True, dark="#000", light="#fff"
    )
    host = urlsplit(request.host_url).hostname or ""
    return no.page("hand_over.html", call=call, link=link, code=pages.safe(code), typed=typed,
                   only_here=is_loopback(host))  # fmt: skip


@blueprint.post("/desk/cases/<number>/hand-over")
@role("agent")
def hand_over(number: str) -> Response:
    """Note who has the case now."""
    to = tidy(request.form.get("handed_to", ""), lines=False)
    return submitted(
        lambda also: book().change(number, {"handed_to": to}, by(), seen(), also),
        lambda _: url_for(".hand_over", number=number),
        lambda no: _hand_over(call_at(number), to, no),
    )


@blueprint.get("/desk/cases/<number>/close")
@role("agent")
def close_page(number: str) -> Response:
    """Ask what it was."""
    return _close(call_at(number), Form({"cause": request.args.get("cause", "")}))


def _close(call: Call, form: Form, no: Refusal = NEW) -> Response:
    ranked = [(one["id"], one["name"]) for one in call.answer["causes"] if is_cause(one["id"])]
    likely = ranked[:LIKELY]
    return no.page(
        "close.html", call=call, form=form, likely=likely,
        rest=sorted(ranked[LIKELY:], key=lambda one: one[1]),
        others=[(key, f"{said[:1].upper()}{said[1:]}") for key, words in NOT_A_CAUSE.items()
                for said in (gettext(words),)],
        proven=cause_of(call.answer, form.get("cause") or likely[0][0]),
    )  # fmt: skip


@blueprint.post("/desk/cases/<number>/close")
@role("agent")
def close(number: str) -> Response:
    """Close the case with the confirmed cause."""
    form = request.form
    return submitted(
        lambda also: book().close(number, _outcome(form), by(), seen(), also), address_of,
        lambda no: _close(call_at(number), form, no),
    )  # fmt: skip


def _outcome(form: Form) -> Json:
    """Return how it ended as the book takes it. Raises FormFault."""
    faults: dict[str, str] = {}
    minutes = form.get("minutes", "").strip()
    if not form.get("cause"):
        faults["cause"] = gettext("Choose what it was. 'It was never found' is an answer too.")
    if minutes and not (minutes.isdecimal() and len(minutes) < 7):
        faults["minutes"] = gettext("Type whole minutes, such as 45, or leave it empty.")
    if faults:
        raise FormFault(faults)
    lines = tidy(form.get("replaced", ""), lines=True).split("\n")
    return {
        "cause": form["cause"], "note": tidy(form.get("note", ""), lines=True),
        "replaced": [line.strip() for line in lines if line.strip()],
        "minutes": int(minutes) if minutes else None,
    }  # fmt: skip


@blueprint.post("/desk/cases/<number>/reopen")
@role("agent")
def reopen(number: str) -> Response:
    """Open a closed case again."""
    because = tidy(request.form.get("because", ""), lines=True)

    def opened(also: Also | None) -> Case:
        if fault := fault_of(because, BECAUSE_LETTERS, lines=True):
            raise FormFault({"because": gettext("The reason %(fault)s.", fault=fault)})
        return book().reopen(number, because, by(), seen(), also)

    return stepped(number, opened)


def _on_paper(call: Call, probe: str | None, own: bool) -> Mapping[Shape, str]:
    """Return the circuit: whole on a page of its own, else what is around the next check's leads.

    Both are large enough to be read in print.
    """
    if own:
        return drawings(call, probe, ("wide",))
    return drawings(call, probe, ("tall",), PAPER_CUT) if probe else {}


@blueprint.get("/desk/cases/<number>/sheet")
@role("read")
def sheet(number: str) -> Response:
    """Show the work order on one page, to be printed; the circuit may have a page of its own."""
    call = call_at(number)
    paper, own = request.args.get("paper"), request.args.get("circuit") == "own"
    order, checks = call.order, call.desk.knowledge.checks
    answered_by = {
        one["check"]: check_prompt(checks[one["check"]], call.inquiry, call.desk)
        for one in order.checks
    }
    probe = order.checks[0]["check"] if order.checks else None
    return pages.respond(
        "sheet.html", call=call, order=order, own=own, machine=machine_words(call.inquiry.fields),
        paper="letter" if paper == "letter" else "a4", answered_by=answered_by,
        pieces=evidence(call, {**order.cause, "evidence": order.evidence}),
        drawing=_on_paper(call, probe, own),
        ended=ended(call.case.outcome.cause, call.desk.knowledge) if call.case.outcome else "",
    )  # fmt: skip
