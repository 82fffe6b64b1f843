"""What a caller's words may mean, as chips to confirm: while a call is written, and after it.

Nothing is taken that nobody ticked. With the script the chips stand below the complaint as it is
typed; without it a page of its own shows them before the first step.
"""

from collections.abc import Collection, Iterable
from dataclasses import replace

from flask import Response, request, url_for

from api.access import role
from api.cases.case import Case
from api.cases.idempotency import Also
from api.cases.texts import LIMITS
from api.desk import pages
from api.desk.answering import call_at
from api.desk.blueprint import blueprint, book, by, go
from api.desk.calls import Call, address_of, desk
from api.desk.forms import Form, FormFault, side_of, tidy
from api.desk.submitting import NEW, Refusal, seen, submitted
from api.interview.hearing import HeardOutcome, HearingAnswer, hear
from api.interview.next_step import COMPLAINTS
from api.interview.state import Inquiry, in_no_book
from api.strict_json import Json
from api.translation import gettext
from engine.knowledge.items import DUTIES, MOMENTS
from engine.reasoning.request import NOT_KNOWN


def heard_in(form: Form) -> HearingAnswer | None:
    """Return what the complaint of a call's form may mean; None where there is none.

    What the form's own question about the complaint has answered is not proposed again.
    """
    text = tidy(form.get("complaint", ""), lines=True)[: LIMITS["complaint"][0]]
    duty = form.get("duty", "")
    chosen = DUTIES[int(duty) - 1] if duty in ("1", "2") else None
    if not text:
        return None
    found = hear(desk().knowledge, text, chosen)
    unknown = {check for duty, check in COMPLAINTS.items()
               if form.get(f"symptom-{duty}", NOT_KNOWN) == NOT_KNOWN}  # fmt: skip
    return replace(found, complaints=_of(found.complaints, unknown))


def ticked(form: Form, machine: Json) -> list[Json]:
    """Return the findings that were ticked, of checks that the machine can have.

    Raises FormFault for two answers of one check.
    """
    can_have = desk().checks(Inquiry(in_no_book(machine), machine))
    return _findings(form.getlist("heard"), can_have, side_of(machine, form))


def _findings(names: Iterable[str], can_have: Collection[str], side: str | None) -> list[Json]:
    found: dict[str, Json] = {}
    for name in dict.fromkeys(names):
        check, _, said = name.partition("=")
        outcome, _, moment = said.partition("@")
        item = desk().knowledge.checks.get(check)
        if check not in can_have or item is None or item.outcomes is None:
            continue
        if check in found:
            raise FormFault({"heard": gettext("Tick one answer of a check, not two.")})
        if outcome in item.outcomes.names:
            when = {"moment": moment} if moment in MOMENTS else {}
            found[check] = desk().sided({"check": check, "outcome": outcome, **when}, side)
    return list(found.values())


def still_to_confirm(call: Call) -> HearingAnswer | None:
    """Return what the complaint may mean and nobody answered yet; None where that is nothing."""
    if not (call.case.complaint and call.case.is_open):
        return None
    knowledge, known = call.desk.knowledge, call.desk.checks(call.inquiry)
    found = hear(knowledge, call.case.complaint, call.case.machine["duty"])
    waiting = {one for one in known if not call.inquiry.answered(one)}
    asked = {one.check for one in (*found.complaints, *found.findings)} & waiting
    left = replace(
        found, complaints=_of(found.complaints, asked), findings=_of(found.findings, asked),
        cautions=tuple(one for one in found.cautions
                       if {place for part in found.complaints + found.findings
                           if part.check in asked for place in part.heard} & set(one.heard)),
        checks=tuple(one for one in found.checks if one.id in waiting),
    )  # fmt: skip
    return left if left.complaints or left.findings else None


def _of(found: Iterable[HeardOutcome], checks: Collection[str]) -> tuple[HeardOutcome, ...]:
    return tuple(one for one in found if one.check in checks)


def first_address(case: Case) -> str:
    """Return where a new call goes on: at what its words may mean, unless all of it was shown.

    What stops a call is shown again while nobody confirmed it.
    """
    call = Call.of(case, None, pages.audience())
    left, shown = still_to_confirm(call), set(request.form.getlist("shown"))
    if left is None:
        return address_of(case)
    new = [one for one in (*left.complaints, *left.findings) if one.name_of not in shown]
    return url_for("desk.heard", number=case.number) if new or left.cautions else address_of(case)


@blueprint.post("/desk/hear")
@role("agent")
def hear_complaint() -> Response:
    """Show what the words typed so far may mean; the form of the call puts it below them."""
    found = heard_in(request.form)
    return pages.respond("heard.html", heard=found, ticks=request.form.getlist("heard"))


@blueprint.get("/desk/cases/<number>/heard")
@role("agent")
def heard(number: str) -> Response:
    """Show what the words of a call may mean, before its first step."""
    return _shown(call_at(number))


def _shown(call: Call, no: Refusal = NEW) -> Response:
    found = still_to_confirm(call)
    if found is None:
        return go(address_of(call.case, call.side))
    return no.page("heard_call.html", call=call, heard=found, ticks=request.form.getlist("heard"))


@blueprint.post("/desk/cases/<number>/heard")
@role("agent")
def take_heard(number: str) -> Response:
    """Add what was ticked as findings, in one step."""
    call, ticks = call_at(number, request.form.get("side")), request.form.getlist("heard")
    if not ticks:
        return go(address_of(call.case, call.side))

    def taken(also: Also | None) -> Case:
        bodies = _findings(ticks, call.desk.checks(call.inquiry), call.side)
        return book().add_findings(number, bodies, by(), seen(), also)

    return submitted(
        taken, lambda case: address_of(case, call.side), lambda no: _shown(call_at(number), no)
    )
