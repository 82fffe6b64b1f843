"""The machine's form: it opens a call, and later it changes what is known of the machine."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from flask import Response, request, url_for

from api.access import role
from api.cases import NoSuchCase
from api.cases.case import Case
from api.cases.idempotency import Also
from api.desk import told
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import address_of, desk
from api.desk.forms import (
    CALL_BACK,
    MACHINE_TEXTS,
    SETTINGS,
    Form,
    FormFault,
    asked,
    field_of,
    machine_form,
    machine_of,
    numbers,
    side_of,
)
from api.desk.hearing import first_address, heard_in, ticked
from api.desk.home import ListedCase, fleet_cases, known_machines
from api.desk.submitting import NEW, Refusal, seen, submitted
from api.interview.next_step import COMPLAINTS
from api.strict_json import Json
from api.translation import gettext
from engine.reasoning.request import NOT_KNOWN

_LIKE = ("control", "coil", "system_volts", "fuel_actuation", "solenoids", "fuse_amps", "pull_ohms",
         "hold_ohms", "duty")  # fmt: skip


@blueprint.get("/desk/call")
@role("agent")
def call_page() -> Response:
    """Ask which machine it is and what it does; ``like`` takes the machine of an earlier case."""
    form = Form()
    if request.args.get("like"):
        try:
            earlier = book().get(request.args["like"])
        except NoSuchCase:
            return _new(form)
        machine = {key: earlier.machine[key] for key in _LIKE if key in earlier.machine}
        texts = {"fleet_number": earlier.fleet_number, "machine_type": earlier.machine_type}
        form = machine_form(machine, {}, texts)
    return _new(form)


def _new(form: Form, no: Refusal = NEW, same: Sequence[ListedCase] = ()) -> Response:
    knowledge = desk().knowledge
    complaints = {duty: knowledge.checks[check] for duty, check in COMPLAINTS.items()}
    warnings = {duty: told.of_machine(knowledge, {"duty": duty}).values() for duty in COMPLAINTS}
    with_two = told.of_machine(knowledge, {"duty": "brake-release", "solenoids": 2}).values()
    of_two = [text for text in with_two if text not in warnings["brake-release"]]
    known = known_machines(book().list(limit=100).cases)
    return _form(
        form, replace(no, status=409) if same else no,
        title=gettext("Start a call"), action=url_for(".start"),
        complaints=complaints, warnings=warnings, of_two=of_two, known=known,
        same=same, heard=heard_in(form), ticks=form.getlist("heard"),
    )  # fmt: skip


def _form(form: Form, no: Refusal, **more: Any) -> Response:
    """Return the machine's form; what is asked of every call comes first, the rest behind it."""
    first = ("duty", "side", "solenoids")
    questions = sorted(asked(), key=lambda one: one.id not in first)
    shown: Mapping[str, object] = {
        "number": "", "version": None, "complaints": None, "warnings": {}, "of_two": (),
        "known": (), "same": (),
        "heard": None, "ticks": (),
        "questions": questions, "field_of": field_of, "numbers": numbers(), "form": form,
        "of_the_call": SETTINGS,
    }  # fmt: skip
    return no.page("machine.html", **{**shown, **more})


@blueprint.post("/desk/call")
@role("agent")
def start() -> Response:
    """Open a case; where the fleet number has an open one already, ask which of both is meant."""
    form = request.form
    same = fleet_cases(form.get("fleet_number", ""), "open")
    if same and not form.get("another"):
        return _new(form, same=same)
    made: list[Case] = []

    def opened(also: Also | None) -> Case:
        machine, settings, texts = machine_of(form)
        findings = _found(machine)
        if not form.get("read_out"):
            told_first = gettext("Read the warnings out, then tick that it was done.")
            raise FormFault({"read_out": told_first})
        body = {**texts, "machine": machine, **settings, "findings": findings}
        made.append(book().open(body, by(), also))
        return made[-1]

    response = submitted(opened, first_address, lambda no: _new(form, no), named=True)
    for case in made:  # the warnings of the machine that was chosen stood on the form
        warnings = told.of_machine(desk().knowledge, case.machine).values()
        told.tell(response, case.number, map(told.mark, warnings))
    return response


def _found(machine: Json) -> list[Json]:
    """Return the complaint as the first finding, and what was ticked of the caller's words.

    Raises FormFault.
    """
    field, heard = f"symptom-{machine['duty']}", ticked(request.form, machine)
    outcome = request.form.get(field, NOT_KNOWN)
    if outcome == NOT_KNOWN:
        return heard
    check = desk().knowledge.checks[COMPLAINTS[machine["duty"]]]
    if check.outcomes is None or outcome not in check.outcomes.names:
        raise FormFault({field: gettext("Choose one of the answers shown.")})
    complaint = desk().sided(
        {"check": check.id, "outcome": outcome}, side_of(machine, request.form)
    )
    return [complaint, *(one for one in heard if one["check"] != check.id)]


@blueprint.get("/desk/cases/<number>/machine")
@role("agent")
def machine_page(number: str) -> Response:
    """Show what is known of the machine, to change it."""
    case = book().get(number)
    texts = {name: getattr(case, name) for name in (*MACHINE_TEXTS, CALL_BACK)}
    return _known(case, machine_form(case.machine, case.settings, texts))


def _known(case: Case, form: Form, no: Refusal = NEW) -> Response:
    fleet = fleet_cases(case.fleet_number, None)
    title = gettext("The machine of case %(number)s", number=case.shown_number)
    return _form(
        form, no, title=title, number=case.number,
        action=url_for(".machine_page", number=case.number), version=case.version,
        same=[one for one in fleet if one.case.number != case.number],
    )  # fmt: skip


@blueprint.post("/desk/cases/<number>/machine")
@role("agent")
def change_machine(number: str) -> Response:
    """Change what is known of the machine."""
    case, form = book().get(number), request.form

    def changed(also: Also | None) -> Case:
        machine, settings, texts = machine_of(form)
        gone = dict.fromkeys(key for key in case.machine if key not in machine)
        changes = {**texts, "machine": {**machine, **gone}, "on_hand": None, "skill": None}
        return book().change(number, {**changes, **settings}, by(), seen(), also)

    def again(no: Refusal) -> Response:
        return _known(no.stale.current if no.stale else case, form, no)

    return submitted(changed, address_of, again, named=True)
