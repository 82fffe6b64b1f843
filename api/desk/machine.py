"""The machine's form: it opens a call, and later it changes what is known of the machine."""

from collections.abc import Mapping
from typing import Any

from flask import Response, request, url_for

from api.access import role
from api.cases import NoSuchCase, StaleCase
from api.cases.case import Case, Json
from api.desk import pages
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import address_of, desk
from api.desk.forms import (
    MACHINE_TEXTS,
    Form,
    FormFault,
    asked,
    field_of,
    machine_form,
    machine_of,
    side_of,
)
from api.desk.home import known_machines
from api.desk.idempotency import once
from api.desk.words import without_typing
from api.interview.next_step import COMPLAINTS
from api.interview.questions import settings
from engine import RequestError
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
            return _new(form, {})
        machine = {key: earlier.machine[key] for key in _LIKE if key in earlier.machine}
        texts = {"fleet_number": earlier.fleet_number, "machine_type": earlier.machine_type}
        form = machine_form(machine, None, texts)
    return _new(form, {})


def _new(form: Form, faults: Mapping[str, str], status: int = 200) -> Response:
    return pages.respond(
        "machine.html", status, title="Start a call", action=url_for(".start"), number="",
        version=None,
        form=form, faults=faults, button="Start", stale="", complaints=_complaints(),
        known=known_machines(book().list(limit=100).cases), **_questions(),
    )  # fmt: skip


def _questions() -> Json:
    """Return the questions as the form shows them."""
    shown = [
        {
            "id": one.id, "field": field_of(one), "ask": one.ask, "options": one.options,
            "duty": dict(one.needs).get("duty", ""), "why": without_typing(one.why),
            "unsure": without_typing(one.unsure),
        }
        for one in asked()
    ]  # fmt: skip
    # what is asked of every call comes first, the rest behind it
    shown.sort(key=lambda one: one["id"] not in ("duty", "side", "solenoids"))
    return {"questions": shown, "numbers": list(settings().values())}


def _complaints() -> dict[str, dict[str, Any]]:
    """Return for each duty the sentence that asks for the complaint, and its answers."""
    found = {}
    for duty, name in COMPLAINTS.items():
        check = desk().knowledge.checks[name]
        assert check.outcomes is not None  # a complaint is chosen, not measured
        found[duty] = {
            "say": check.say,
            "options": [
                {"key": str(n), "value": one, "words": check.outcomes.words.get(one, one)}
                for n, one in enumerate(check.outcomes.names, start=1)
            ],
        }
    return found


@blueprint.post("/desk/call")
@role("agent")
def start() -> Response:
    """Open a case."""
    try:
        machine, case_settings, texts = machine_of(request.form)
        findings = _complaint(machine)
        told = {**texts, "machine": machine, **case_settings, "findings": findings}
        return once(lambda also: book().open(told, by(), also), address_of)
    except FormFault as fault:
        return _new(request.form, fault.faults, 422)
    except RequestError as error:
        return _new(request.form, engine_faults(error), 422)


def _complaint(machine: Json) -> list[Json]:
    """Return the complaint as the first finding. Raises FormFault."""
    field = f"symptom-{machine['duty']}"
    outcome = request.form.get(field, NOT_KNOWN)
    if outcome == NOT_KNOWN:
        return []
    check = COMPLAINTS[machine["duty"]]
    outcomes = desk().knowledge.checks[check].outcomes
    if outcomes is None or outcome not in outcomes.names:
        raise FormFault({field: "Choose one of the answers shown."})
    found = {"check": check, "outcome": outcome}
    shared = desk().knowledge.checks[check].shared_between_sides
    if machine.get("solenoids") == 2 and not shared:
        found["side"] = side_of(request.form) or "left"
    return [found]


def engine_faults(error: RequestError) -> dict[str, str]:
    """Return what the engine refuses by the field of the form that it is about."""
    found: dict[str, str] = {}
    for fault in error.faults:
        name = fault.path.rsplit(".", 1)[-1] if "." in fault.path else fault.path
        known = name in {field_of(one) for one in asked()} | set(settings()) | {
            one.id for one in settings().values()
        } | set(MACHINE_TEXTS)
        words = name.replace("_", " ")
        message = f"{words[:1].upper()}{words[1:]} {fault.message}."
        found.setdefault(name if known else "form", message)
    return found


@blueprint.get("/desk/cases/<number>/machine")
@role("agent")
def machine_page(number: str) -> Response:
    """Show what is known of the machine, to change it."""
    case = book().get(number)
    texts = {name: getattr(case, name) for name in MACHINE_TEXTS}
    return _known(case, machine_form(case.machine, case.on_hand, texts), {})


def _known(
    case: Case, form: Form, faults: Mapping[str, str], status: int = 200, stale: str = ""
) -> Response:
    return pages.respond(
        "machine.html", status, title=f"The machine of case {case.shown_number}", faults=faults,
        action=url_for(".machine_page", number=case.number), number=case.number,
        version=case.version, form=form, button="Save", complaints=None, known=(), stale=stale,
        **_questions(),
    )  # fmt: skip


@blueprint.post("/desk/cases/<number>/machine")
@role("agent")
def change_machine(number: str) -> Response:
    """Change what is known of the machine."""
    case = book().get(number)
    try:
        machine, case_settings, texts = machine_of(request.form)
        gone = dict.fromkeys(key for key in case.machine if key not in machine)
        changes = {**texts, "machine": {**machine, **gone}, "on_hand": None, **case_settings}
        seen = version_of(request.form)
        return once(lambda also: book().change(number, changes, by(), seen, also), address_of)
    except FormFault as fault:
        return _known(case, request.form, fault.faults, 422)
    except RequestError as error:
        return _known(case, request.form, engine_faults(error), 422)
    except StaleCase as stale:
        return _known(stale.current, request.form, {}, 412, str(stale))


def version_of(form: Form) -> int:
    """Return the version that the page showed; 0, which no case has, where it is not said."""
    typed = form.get("version", "")
    return int(typed) if typed.isdecimal() and len(typed) < 10 else 0
