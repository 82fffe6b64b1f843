"""Where an interview stands: what is asked next, how it can be answered, why it is asked so."""

from collections.abc import Sequence

from api.answers import conclusions
from api.answers.conclusions import cause_of, hundredths
from api.answers.finding_words import observed
from api.interview.desk import Desk, lead, probabilities
from api.interview.questions import next_question, question
from api.interview.state import Inquiry, InterviewState, NextStep, inquiry_of
from api.interview.turn import Choice, Prompt
from api.strict_json import Json
from api.translation import gettext, ngettext
from engine.knowledge.items import USUAL_KINDS, Check

COMPLAINTS = {"fuel-shutoff": "engine-response", "brake-release": "brake-response"}
TIMING = "plunger-timing"  # the question that tells the control type
SURE = 0.9  # a cause above this is put to the user as the one to repair
LIKELY = 0.5  # an agreed repair stays agreed while its cause is at least so likely, or leads
LEAST = 0.03  # a repair for a cause below this is not offered
FURTHER = 3  # checks named for whoever goes on
MAX_OPTIONS = 9
COIL_GROUND = "coil-ground"  # the node where the coil style has its ground

_PLACES = (
    Choice("1", "Bare metal on the solenoid's body", "body"),
    Choice("2", "The ground pin of the plug", "ground-pin"),
)
_YES_NO = (Choice("1", "Yes", True), Choice("2", "No", False))
_CURES = (
    Choice("1", "Yes, it is cured, and the proof above was seen", "cured"),
    Choice("2", "No, it is done and the complaint is still there", "not-cured"),
    Choice("3", "Not done yet: stop here and make the work order", "stop"),
)
_FIXED = {
    "leads": Prompt("text", hint="Such as 0.2 ohm; z when zeroed; 0 when you don't know"),
    "place": Prompt("choice", _PLACES), "settle": Prompt("choice", _YES_NO),
    "cure": Prompt("choice", _CURES),
}  # fmt: skip


def target_of(state: InterviewState, desk: Desk) -> NextStep:
    """Return what the next line answers."""
    return state.target or next_step(inquiry_of(state.entries), desk)


def next_step(case: Inquiry, desk: Desk) -> NextStep:
    """Return what is asked next, given the answers alone."""
    asked = next_question(case.fields)
    if asked is not None:
        return NextStep("machine", asked.id)
    answer = desk.answer(case)
    complaint = COMPLAINTS[case.fields["duty"]]
    if _open(case, complaint):
        return NextStep("check", complaint)
    if not answer["scope"]["covered"]:
        return NextStep("refer")
    if case.cured or case.stopped:
        return NextStep("end", case.cured or "")
    return _control(case, desk) or _agreed(case, desk) or _next(case, desk)


def _open(case: Inquiry, check: str) -> bool:
    return not case.answered(check)


def _control(case: Inquiry, desk: Desk) -> NextStep | None:
    """Return the question that tells the control type, while that is not known."""
    if case.fields.get("control") is not None or TIMING not in desk.checks(case):
        return None
    if _open(case, TIMING):
        return None if desk.barred(case, TIMING) else NextStep("check", TIMING)
    told = control_told(case, desk)
    return NextStep("settle", told) if told and "control" not in case.declined else None


def control_told(case: Inquiry, desk: Desk) -> str | None:
    """Return the control type that the answers tell while the machine's is not known."""
    heard = [one.body.get("outcome", "") for one in case.mine if one.check == TIMING]
    if case.fields.get("control") is not None or not heard:
        return None
    found = desk.at_moment(case, heard[-1])
    return found[0] if len(found) == 1 else None


def _agreed(case: Inquiry, desk: Desk) -> NextStep | None:
    """Return the repair that was agreed on, after the checks that come before the part."""
    if case.agreed is None:
        return None
    before = checks_before(case, desk, case.agreed)
    return NextStep("check", before[0]) if before else NextStep("cure", case.agreed)


def checks_before(case: Inquiry, desk: Desk, cause: str) -> list[str]:
    """Return the checks still open that come before the part is fitted."""
    hands = case.fields.get("hands")
    return [
        name
        for name in cause_of(desk.answer(case), cause)["before_replacing"]
        if _open(case, name)
        and desk.knowledge.checks[name].kind in (USUAL_KINDS if hands is None else hands)
        and not desk.barred(case, name)
    ]


def _next(case: Inquiry, desk: Desk) -> NextStep:
    """Return the best check, or the repair when none is worth it or one cause is sure.

    Whoever declined the repair of the leading cause goes on checking as long as there are checks.
    """
    answer = desk.answer(case)
    first, checks = lead(answer), answer["next_checks"]
    worth_it = answer["advice"]["do"] == "check" and first["probability"] <= SURE
    if checks and (worth_it or first["id"] in case.declined):
        return NextStep("check", checks[0]["check"])
    # nobody is sent while all is safe, nobody leads and something is left to ask: it costs nothing
    undecided = hands_over(answer) and first["probability"] < LIKELY and not desk.bans(case)
    free = [one["check"] for one in checks if one["kind"] == "ask"] if undecided else []
    return NextStep("check", free[0]) if free else NextStep("repair")


def holds(case: Inquiry, desk: Desk, cause: str) -> bool:
    """Return whether an agreed repair is still the one to do."""
    answer = desk.answer(case)
    return lead(answer)["id"] == cause or probabilities(answer).get(cause, 0.0) >= LIKELY


def heading(case: Inquiry, desk: Desk, step: NextStep, changed: Json | None) -> str:
    """Return why a check is asked in a special way, or nothing; ``changed`` is the old answer."""
    if desk.ruled_out(case, step.key):
        return gettext("As things stand this check is ruled out: do not do it. Note only what was "
                       "found before.")  # fmt: skip
    if changed is not None and step.replaces is not None:
        said = observed(changed, desk.knowledge)
        return gettext("Answer %(place)d says: %(said)s. Now?", place=step.replaces + 1, said=said)
    if desk.not_for_lay(case, step.key):
        return gettext("This check is for trained hands: nobody else does it. Note only what was "
                       "seen.")  # fmt: skip
    return _again(case, desk, step) or _before_repair(case, desk, step)


def _again(case: Inquiry, desk: Desk, step: NextStep) -> str:
    """Return why a check comes once more; nothing for one that was not answered yet."""
    if not any(one.check == step.key for one in case.mine):
        return ""
    if not case.answered(step.key):
        return gettext("Asked anew after the repair, which can have changed it.")
    if desk.provoked(case, step.key):
        return gettext("It was answered before; now as the fault is brought on. Both count.")
    if step.asked_for:
        return gettext("Answered before; both count.")
    return gettext("Asked once more: the first answer does not count, as was said above.")


def _before_repair(case: Inquiry, desk: Desk, step: NextStep) -> str:
    if case.agreed is None or step.asked_for:
        return ""
    return ngettext(
        "Before the repair (%(cause)s): %(num)d check first, so that what made it is found and "
        "the repair lasts.",
        "Before the repair (%(cause)s): %(num)d checks first, so that what made it is found and "
        "the repair lasts.",
        len(checks_before(case, desk, case.agreed)), cause=desk.name(case.agreed),
    )  # fmt: skip


def prompt_of(step: NextStep, case: Inquiry, desk: Desk) -> Prompt:
    """Return how the next line can be answered."""
    match step.kind:
        case "machine":
            return question(step.key, case.fields).prompt
        case "check":
            return check_prompt(desk.knowledge.checks[step.key], case, desk)
        case "repair":
            return Prompt("choice", _repair_options(case, desk))
        case "pick":
            return Prompt("choice", _named(step.choices, desk))
    return _FIXED.get(step.kind, Prompt("text", unsure=False))


def check_prompt(check: Check, case: Inquiry, desk: Desk) -> Prompt:
    """Return how a check is answered: by a reading, or by one of its outcomes.

    When the solenoid moves is not offered at a moment at which no circuit of the duty pulls.
    """
    if check.reading is not None:
        return Prompt("reading", unit=check.reading.unit)
    assert check.outcomes is not None  # a check has a reading or outcomes
    words = check.outcomes.words
    names = [
        name
        for name in check.outcomes.names
        if check.id != TIMING or not name.startswith("at-") or desk.at_moment(case, name)
    ]
    return Prompt("choice", tuple(
        Choice(str(place), words.get(name, name), name) for place, name in enumerate(names, start=1)
    ))  # fmt: skip


def to_own_ground(check: Check) -> bool:
    """Return whether a check reads between a winding and the ground that its coil style has."""
    return check.reading is not None and COIL_GROUND in check.reading.to_node.values()


def _repair_options(case: Inquiry, desk: Desk) -> tuple[Choice, ...]:
    """Return the courses there are when checking stops; the values are causes, or a word."""
    answer = desk.answer(case)
    stop = ("Stop here: make the work order", "stop")
    found = [] if hands_over(answer) else _repairs(answer, desk)
    if answer["next_checks"]:
        found.append(("Go on checking", ""))
    # nobody repairs on a guess when the better checks only wait for somebody with the kit
    unsure = lead(answer)["probability"] <= SURE and further_checks(case, desk)
    found = [stop, *found] if unsure or hands_over(answer) else [*found, stop]
    return tuple(Choice(str(n), words, value) for n, (words, value) in enumerate(found, start=1))


def hands_over(answer: Json) -> bool:
    """Return whether somebody else goes on: all is told, or what leads is not put right here."""
    return bool(answer["advice"]["do"] == "hand-over")


def _repairs(answer: Json, desk: Desk) -> list[tuple[str, str]]:
    first = lead(answer)
    if first["probability"] > SURE:
        return [(f"Put this right now: {first['name']}", first["id"])]
    known = probabilities(answer)
    order = [one for one in answer["advice"]["repair_order"] if known.get(one, 0.0) >= LEAST]
    return [
        (f"Put right first: {desk.name(one)} ({hundredths(known[one])})", one)
        for one in (order or [first["id"]])[: MAX_OPTIONS - 2]
    ]


def further_checks(case: Inquiry, desk: Desk) -> Sequence[Json]:
    """Return the best checks that take more than is at hand; none where all was at hand."""
    if case.fields.get("hands") is None or desk.answer(case)["advice"]["do"] == "check":
        return []
    return conclusions.further_checks(desk.answer(case))[:FURTHER]


def _named(choices: tuple[str, ...], desk: Desk) -> tuple[Choice, ...]:
    return tuple(
        Choice(str(n), f"{desk.name(one)} ({one})", one) for n, one in enumerate(choices, start=1)
    )
