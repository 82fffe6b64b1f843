"""Where an interview stands: what is asked next, and how it can be answered."""

from collections.abc import Mapping, Sequence
from typing import Any

from api.answers import conclusions
from api.answers.conclusions import cause_of, hundredths
from api.interview.desk import Answer, Desk, lead, probabilities
from api.interview.questions import next_question, question, settings
from api.interview.state import Inquiry, State, Target, inquiry_of
from api.interview.turn import Option, Prompt

COMPLAINTS = {"fuel-shutoff": "engine-response", "brake-release": "brake-response"}
TIMING = "plunger-timing"  # the question that tells the control type
SURE = 0.9  # a cause above this is put to the user as the one to repair
LIKELY = 0.5  # an agreed repair stays agreed while its cause is at least so likely, or leads
LEAST = 0.03  # a repair for a cause below this is not offered
FURTHER = 3  # checks named for whoever goes on
MAX_OPTIONS = 9

PLACES = (
    Option("1", "Bare metal on the solenoid's body", "body"),
    Option("2", "The ground pin of the plug", "ground-pin"),
)
YES_NO = (Option("1", "Yes", True), Option("2", "No", False))


def target_of(state: State, desk: Desk) -> Target:
    """Return what the next line answers."""
    return state.target or place(inquiry_of(state.entries), desk)


def place(case: Inquiry, desk: Desk) -> Target:
    """Return what is asked next, given the answers alone."""
    asked = next_question(case.fields)
    if asked is not None:
        return Target("machine", asked.id)
    answer = desk.answer(case)
    complaint = COMPLAINTS[case.fields["duty"]]
    if _open(case, complaint):
        return Target("check", complaint)
    if not answer["scope"]["covered"]:
        return Target("refer")
    if case.cured or case.stopped:
        return Target("end", case.cured or "")
    return _control(case, desk) or _agreed(case, desk) or _next(case, desk)


def _open(case: Inquiry, check: str) -> bool:
    return not case.answered(check) and check not in case.skipped


def _control(case: Inquiry, desk: Desk) -> Target | None:
    """Return the question that tells the control type, while that is not known."""
    if case.fields.get("control") is not None or TIMING not in desk.checks(case):
        return None
    if _open(case, TIMING):
        return None if desk.ruled_out(case, TIMING) else Target("check", TIMING)
    outcomes = [one.get("outcome", "") for _, one in case.mine if one["check"] == TIMING]
    controls = desk.at_moment(case, outcomes[-1]) if outcomes else []
    if len(controls) == 1 and "control" not in case.declined:
        return Target("settle", controls[0])
    return None


def _agreed(case: Inquiry, desk: Desk) -> Target | None:
    """Return the repair that was agreed on, after the checks that come before the part."""
    if case.agreed is None:
        return None
    before = checks_before(case, desk, case.agreed)
    return Target("check", before[0]) if before else Target("cure", case.agreed)


def checks_before(case: Inquiry, desk: Desk, cause: str) -> list[str]:
    """Return the checks still open that come before the part is fitted."""
    hands = case.fields.get("hands")
    return [
        name
        for name in cause_of(desk.answer(case), cause)["before_replacing"]
        if _open(case, name)
        and (hands is None or desk.knowledge.checks[name].kind in hands)
        and not desk.ruled_out(case, name)
    ]


def _next(case: Inquiry, desk: Desk) -> Target:
    """Return the best check, or the repair when none is worth it or one cause is sure."""
    answer = desk.answer(case)
    first = lead(answer)
    sure = first["probability"] > SURE and first["id"] not in case.declined
    if sure or answer["advice"]["do"] != "check" or not answer["next_checks"]:
        return Target("repair")
    return Target("check", answer["next_checks"][0]["check"])


def holds(case: Inquiry, desk: Desk, cause: str) -> bool:
    """Return whether an agreed repair is still the one to do."""
    answer = desk.answer(case)
    return lead(answer)["id"] == cause or probabilities(answer).get(cause, 0.0) >= LIKELY


def prompt_of(target: Target, case: Inquiry, desk: Desk) -> Prompt:
    """Return how the next line can be answered."""
    if target.kind == "machine":
        known = settings().get(target.key.replace("_", "-"))
        return (known or question(target.key, case.fields)).prompt
    if target.kind == "check":
        return _check_prompt(target, desk)
    if target.kind == "leads":
        return Prompt("text", hint="Such as 0.2 ohm; z when zeroed; 0 when you don't know")
    if target.kind in ("repair", "cure", "pick"):
        return Prompt("choice", _options(target, case, desk), unsure=False)
    if target.kind in ("settle", "place"):
        return Prompt("choice", YES_NO if target.kind == "settle" else PLACES)
    return Prompt("text", unsure=False)


def _options(target: Target, case: Inquiry, desk: Desk) -> tuple[Option, ...]:
    if target.kind == "repair":
        return repair_options(case, desk)
    return cure_options() if target.kind == "cure" else _named(target.choices, desk)


def _check_prompt(target: Target, desk: Desk) -> Prompt:
    check = desk.knowledge.checks[target.key]
    if check.reading is not None:
        return Prompt("reading", unit=check.reading.unit)
    assert check.outcomes is not None  # a check has a reading or outcomes
    words = check.outcomes.words
    options = [
        Option(str(place), words.get(name, name), name)
        for place, name in enumerate(check.outcomes.names, start=1)
    ]
    return Prompt("choice", tuple(options))


def repair_options(case: Inquiry, desk: Desk) -> tuple[Option, ...]:
    """Return the courses there are when checking stops; the values are causes, or a word."""
    answer = desk.answer(case)
    stop = ("Stop here: make the work order", "stop")
    found = _repairs(answer, desk)
    if answer["next_checks"]:
        found.append(("Go on checking", ""))
    # nobody repairs on a guess when the better checks only wait for somebody with the kit
    unsure = lead(answer)["probability"] <= SURE and further_checks(case, desk)
    found = [stop, *found] if unsure else [*found, stop]
    return tuple(Option(str(n), words, value) for n, (words, value) in enumerate(found, start=1))


def _repairs(answer: Answer, desk: Desk) -> list[tuple[str, str]]:
    """Return the repairs to choose from, in the order in which they are best tried."""
    first = lead(answer)
    if first["probability"] > SURE:
        return [(f"Put this right now: {first['name']}", first["id"])]
    known = probabilities(answer)
    order = [one for one in answer["advice"]["repair_order"] if known.get(one, 0.0) >= LEAST]
    return [
        (f"Put right first: {desk.name(one)} ({hundredths(known[one])})", one)
        for one in (order or [first["id"]])[: MAX_OPTIONS - 2]
    ]


def further_checks(case: Inquiry, desk: Desk) -> Sequence[Mapping[str, Any]]:
    """Return the best checks that take more than is at hand; none where all was at hand."""
    if case.fields.get("hands") is None or desk.answer(case)["advice"]["do"] == "check":
        return []
    return conclusions.further_checks(desk.answer(case))[:FURTHER]


def cure_options() -> tuple[Option, ...]:
    """Return what can have come of a repair."""
    return (
        Option("1", "Yes, it is cured, and the proof above was seen", "cured"),
        Option("2", "No, it is done and the complaint is still there", "not-cured"),
        Option("3", "Not done yet: stop here and make the work order", "stop"),
    )


def _named(choices: tuple[str, ...], desk: Desk) -> tuple[Option, ...]:
    return tuple(
        Option(str(n), f"{desk.name(one)} ({one})", one) for n, one in enumerate(choices, start=1)
    )
