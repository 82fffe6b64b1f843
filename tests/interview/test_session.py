"""The state machine: questions, answers, and where they lead."""

from collections.abc import Callable
from typing import Any

import pytest

from api.answers.conclusions import cause_of
from api.interview import Interview, InterviewState, Turn
from api.interview.desk import probabilities
from api.interview.next_step import checks_before, target_of
from api.interview.questions import questions
from api.interview.state import inquiry_of
from engine import Diagnoser
from engine.knowledge import items

Hold = Callable[..., Turn]
Said = Callable[[Turn], str]
BRAKE_OF_TWO = ("1", "19 site dumper", "2", "2", "1", "1", "2", "1", "7")


def asked(talk: Interview, turn: Turn) -> tuple[str, str]:
    """Return the kind and key of what is asked now."""
    target = target_of(turn.state, talk.desk)
    return target.kind, target.key


def findings(turn: Turn) -> list[dict[str, Any]]:
    """Return what was found so far."""
    return [dict(one.body) for one in inquiry_of(turn.state.entries).case.findings]


def skip_to(talk: Interview, hold: Hold, turn: Turn, check: str) -> Turn:
    """Skip what is asked until a check comes."""
    for _ in range(40):
        kind, key = asked(talk, turn)
        if key == check:
            return turn
        if kind != "check":
            break
        turn = hold("skip", after=turn)
    raise AssertionError(f"{check} was not asked")


def test_every_question_takes_dont_know(talk: Interview, hold: Hold) -> None:
    """With 0 to every question but the duty, the machine is unknown and the complaint is asked."""
    turn = hold("0", "", "1", "0", "0", "0", "0", "0", start=())
    assert asked(talk, turn) == ("check", "engine-response")
    machine = inquiry_of(turn.state.entries).case.machine
    assert machine == {"control": "unknown", "coil": "unknown", "duty": "fuel-shutoff"}


def test_duty_has_to_be_known(talk: Interview, hold: Hold, said: Said) -> None:
    """Without the duty nothing can be weighed: 0 is taken, explained, and the question stays."""
    turn = hold("1", "", "0", start=())
    assert not turn.bad
    assert "It has to be one of the two" in said(turn)
    assert asked(talk, turn) == ("machine", "duty")


def test_unknown_control_is_settled_by_the_timing(talk: Interview, hold: Hold) -> None:
    """Not knowing the control type leads to plunger-timing, and its answer settles the type."""
    turn = hold("2", start=("1", "", "1", "0", "2", "1", "1", "7"))
    assert asked(talk, turn) == ("check", "plunger-timing")
    turn = hold("When the engine cranks", after=turn)
    assert asked(talk, turn) == ("settle", "controller-on-crank")
    yes = hold("y", after=turn)
    assert inquiry_of(yes.state.entries).case.machine["control"] == "controller-on-crank"
    no = hold("2", after=turn)
    assert inquiry_of(no.state.entries).case.machine["control"] == "unknown"
    assert asked(talk, no)[0] == "check"


def test_question_values_are_those_of_a_request(talk: Interview) -> None:
    """The control types offered for a duty are those that have a circuit; kinds are known kinds."""
    offered = {
        (dict(one.needs)["duty"], option.value)
        for one in questions() if one.id == "control" for option in one.options
    }  # fmt: skip
    known = {(one.duty, one.control) for one in talk.desk.knowledge.circuits.values()}
    assert offered == known
    values = {one.id: [option.value for option in one.options] for one in questions()}
    assert tuple(values["coil"]) == items.COILS
    assert tuple(values["system_volts"]) == items.SYSTEM_VOLTS
    assert tuple(values["fuel_actuation"]) == items.ACTUATIONS
    assert tuple(values["hands"][-1]) == items.KINDS


def test_belief_moves_in_words(hold: Hold, said: Said) -> None:
    """After an answer the leading three causes stand with chance and direction, without colour."""
    shown = said(hold("2", "add pull-current 0.1 A", "add relay-87-voltage", "11.5 V"))
    assert "Likeliest now:" in shown
    rows = [line for line in shown.split("\n") if " in 100" in line and "[" in line]
    assert len(rows) == 3
    assert all("up from" in row or "down from" in row or "as before" in row for row in rows)
    assert "\x1b" not in shown


def test_interview_weighs_as_the_engine(talk: Interview, hold: Hold, diagnoser: Diagnoser) -> None:
    """The request that an interview comes to, diagnosed afresh, gives the beliefs it shows."""
    turn = hold("2", "add pull-current 0.1 A", "add relay-87-voltage", "11.5 V")
    request = {
        "machine": {"duty": "fuel-shutoff", "control": "controller-on-crank",
                    "coil": "body-ground", "system_volts": 12, "fuel_actuation": "external-lever"},
        "findings": [
            {"check": "engine-response", "outcome": "cranks-no-start"},
            {"check": "pull-current", "value": 0.1, "unit": "A"},
            {"check": "relay-87-voltage", "value": 11.5, "unit": "V"},
        ],
        "limit": 0,
    }  # fmt: skip
    mine = probabilities(talk.desk.answer(inquiry_of(turn.state.entries)))
    fresh = {one["id"]: one["probability"] for one in diagnoser.diagnose(request)["causes"]}
    assert mine == fresh


@pytest.mark.parametrize(
    ("typed", "finding"),
    [
        ("0.1 A", {"value": 0.1, "unit": "A"}),
        ("100mA", {"value": 100.0, "unit": "mA"}),
        ("0,1 amps", {"value": 0.1, "unit": "A"}),
        ("d", {"outcome": "not-known"}),
        ("don\u2019t know", {"outcome": "not-known"}),
        ("21 a, no-peak-hold, key-on",
         {"value": 21.0, "unit": "A", "circumstances": ["no-peak-hold"], "moment": "key-on"}),
        ("21 A; note the clamp is old", {"value": 21.0, "unit": "A", "note": "the clamp is old"}),
    ],
)  # fmt: skip
def test_readings_as_people_type_them(hold: Hold, typed: str, finding: dict[str, Any]) -> None:
    """Prefixes, spellings, a decimal comma, remarks: all become the contract's finding."""
    turn = hold("2", "add pull-current", typed)
    assert findings(turn)[-1] == {"check": "pull-current", **finding}


def test_number_without_unit_is_asked_for(talk: Interview, hold: Hold, said: Said) -> None:
    """A bare number is kept and only its unit is asked for."""
    turn = hold("2", "add pull-current", "0.1")
    assert "0.1 what?" in said(turn)
    assert not turn.bad
    assert findings(hold("mA", after=turn))[-1]["unit"] == "mA"
    assert findings(hold("0.3 A", after=turn))[-1]["value"] == 0.3


def test_nonsense_is_refused_in_the_engines_words(hold: Hold, said: Said) -> None:
    """A value beyond what the check can read, or in another unit, is refused and nothing changes.

    The sentences are those that the engine's gate gives for the same finding.
    """
    before = hold("2", "add pull-current")
    for typed, says in (
        ("900 A", "is outside what this check can read"),
        ("3 V", "'V' does not fit: this check reads A"),
        ("3 amperez", "unknown unit"),
        ("open", "a reading takes a value in A"),
        ("lots", "is not a reading"),
        ("1,200 A", "can be 1200 or 1.200"),
        ("3 A, plugg on", "is not known"),
    ):
        turn = hold(typed, after=before)
        assert turn.bad, typed
        assert says in said(turn)
        assert turn.state == before.state


def test_what_the_step_asked_to_be_done_meanwhile_is_kept(
    talk: Interview, hold: Hold, said: Said
) -> None:
    """By itself, unless something else was typed; a change keeps it; 'I don't know' has none."""
    machine = ("1", "", "1", "1", "1", "1", "1", "7", "2")
    turn = hold("add plunger-action no-movement", "add failure-pattern random",
                "add relay-87-voltage 12 V, at rest", start=machine)  # fmt: skip
    assert "while" not in findings(turn)[-1]
    lamp = hold("hands ask look lamp", "add lamp-at-hold-pin", after=turn)
    assert "Do it while the harness is moved" in said(lamp)
    assert findings(hold("bright", after=lamp))[-1]["while"] == "shaken"
    turn = hold("add pull-pin-voltage", after=turn)
    assert "Do it while the harness is moved" in said(turn)
    assert "while" not in findings(hold("d", after=turn))[-1]
    assert "while" not in findings(hold("12 V, at rest", after=turn))[-1]
    assert findings(hold("12 V, while wet", after=turn))[-1]["while"] == "wetted"
    assert findings(hold("12", "V", after=turn))[-1]["while"] == "shaken"
    turn = hold("12 V", after=turn)
    assert findings(turn)[-1]["while"] == "shaken"
    assert "12 V (while shaken)" in said(hold("list", after=turn))
    assert "12 V (while shaken)" in said(hold("summary", after=turn))
    place = len(turn.state.entries)
    assert findings(hold(f"change {place} 11.8 V", after=turn))[-1]["while"] == "shaken"
    undone = hold("back", after=hold(f"change {place} 11.8 V, at rest", after=turn))
    assert findings(undone)[-1] == findings(turn)[-1]
    assert (
        findings(hold("add fuse-drop-voltage 20 mV, while hot", after=turn))[-1]["while"]
        == "heated"
    )


def test_leads_and_place_are_asked_for(talk: Interview, hold: Hold) -> None:
    """Few ohms without the leads, or an open winding without the place, get one more question."""
    turn = hold("2", "add pull-winding-ohms 0.6 ohm")
    assert asked(talk, turn) == ("leads", "pull-winding-ohms")
    assert findings(hold("0.2", after=turn))[-1]["lead_ohms"] == 0.2
    assert findings(hold("z", after=turn))[-1]["lead_ohms"] == 0.0
    assert "lead_ohms" not in findings(hold("0", after=turn))[-1]
    turn = hold("2", "add pull-winding-ohms open")
    assert asked(talk, turn) == ("place", "pull-winding-ohms")
    assert findings(hold("2", after=turn))[-1]["measured_to"] == "ground-pin"
    turn = hold("2", "add pull-winding-ohms -1 ohm")
    assert turn.bad, "a reading that is refused is refused before anything else is asked"


def test_a_reading_set_aside_says_so_and_is_asked_once_more(
    talk: Interview, hold: Hold, said: Said
) -> None:
    """What counts for nothing is told with what to do instead; the check comes once more at most.

    A clamp without peak hold misses the pulse (TRADE, traps), so its zero proves nothing.
    """
    turn = hold("2", "hands clamp", "add pull-current 0 A, no-peak-hold")
    assert "Set aside, counts for nothing" in said(turn)
    assert "Instead:" in said(turn)
    turn = skip_to(talk, hold, turn, "pull-current")
    assert "Asked once more" in said(turn)
    turn = hold("0 A, no-peak-hold", after=turn)
    with pytest.raises(AssertionError, match="was not asked"):
        skip_to(talk, hold, turn, "pull-current")


def test_a_wild_reading_is_named(hold: Hold, said: Said) -> None:
    """One reading that all others speak against is named by number and name, to be taken again."""
    turn = hold("2", "add pull-current 24 A", "add plunger-action pulls-and-stays",
                "add pull-winding-ohms open, to body")  # fmt: skip
    assert "Take again first: answer 12, Ohms of the pull winding." in said(turn)
    assert "Doubt: The findings do not fit well together." in said(hold("summary", after=turn))


def test_out_of_scope_ends_in_words(talk: Interview, hold: Hold, said: Said) -> None:
    """Electronic injection has no such solenoid: the interview says so and ends."""
    turn = hold("2", "add fuel-control electronic")
    assert asked(talk, turn)[0] == "refer"
    assert "Not covered here" in said(turn)
    assert "Not covered:" in said(hold("summary", after=turn))


def test_what_a_caution_rules_out_is_not_asked(talk: Interview, hold: Hold, said: Said) -> None:
    """A brake that does not hold ends every step that releases it, also the control question."""
    turn = hold("4", start=("1", "", "2", "0", "1", "1", "1", "7"))
    assert "CAUTION. This comes first" in turn.blocks[0].title
    assert "Do not operate it." in turn.blocks[0].lines[0].text
    assert asked(talk, turn) != ("check", "plunger-timing")
    turn = hold("add plunger-timing", after=turn)
    assert "this check is ruled out: do not do it" in said(turn)


def test_two_sides_have_their_own_findings(talk: Interview, hold: Hold) -> None:
    """A finding belongs to the side looked at, unless the check reads what both share."""
    turn = hold("1", "add fuse-look blown", "add battery-voltage-rest 12.5 V",
                start=BRAKE_OF_TWO)  # fmt: skip
    assert [one.get("side") for one in findings(turn)] == ["left", "left", None]
    right = hold("side right", after=turn)
    assert asked(talk, right) == ("check", "brake-response")
    request = inquiry_of(right.state.entries).request()
    assert [one["check"] for one in request["findings"]] == ["battery-voltage-rest"]
    back = hold("side left", after=right)
    assert len(inquiry_of(back.state.entries).request()["findings"]) == 3
    place = next(n for n, one in enumerate(back.state.entries, 1) if one.key == "fuse-look")
    changed = hold("side right", f"change {place} intact", after=back)
    assert [one.get("side") for one in findings(changed)] == ["left", "left", None]


def test_repair_that_did_not_cure_goes_on(talk: Interview, hold: Hold, said: Said) -> None:
    """A cause put right without a cure leaves the list (``done``), and the search goes on.

    What was found before and it can have changed counts no more, so the complaint is asked anew.
    """
    turn = hold("2", "repair relay-contacts-open", "2")
    case = inquiry_of(turn.state.entries)
    assert case.request()["done"] == [{"cause": "relay-contacts-open", "after": 0}]
    assert talk.desk.answer(case)["superseded"]
    assert "is put right and off the list" in said(turn)
    assert probabilities(talk.desk.answer(case)).get("relay-contacts-open", 0.0) < 1e-6
    assert asked(talk, turn) == ("check", "engine-response")
    again = hold("2", "add relay-click heard", after=turn)
    assert asked(talk, again) != ("check", "engine-response")
    assert [one["after"] for one in inquiry_of(again.state.entries).request()["done"]] == [0]
    assert "done" not in inquiry_of(hold("back", after=turn).state.entries).request()


def test_the_untrained_are_not_sent_to_the_timing_nor_before_a_part(
    talk: Interview, hold: Hold
) -> None:
    """What the engine bars a lay caller from is not asked as the control question either."""
    turn = hold("2", "add skill 1", start=("1", "", "1", "0", "2", "1", "1", "7"))
    assert inquiry_of(turn.state.entries).fields["skill"] == "lay"
    assert asked(talk, turn) != ("check", "plunger-timing")
    turn = hold("2", "add skill 1", "add pull-current 0.0 A", "add relay-87-voltage 11.5 V",
                "add pull-winding-ohms open, to body", "add pull-to-hold-ohms open")  # fmt: skip
    case = inquiry_of(turn.state.entries)
    asked_for = checks_before(case, talk.desk, "pull-winding-open")
    wanted = cause_of(talk.desk.answer(case), "pull-winding-open")["before_replacing"]
    assert not any(talk.desk.not_for_lay(case, one) for one in asked_for)
    assert any(talk.desk.not_for_lay(case, one) for one in wanted)


def test_checks_come_before_the_part(talk: Interview, hold: Hold, said: Said) -> None:
    """A burned pull winding: what held the pull on is checked before a new part goes in.

    TRADE, chains: never fit a new solenoid before pull-pin-voltage-after reads zero and the
    plunger bottoms.
    """
    turn = hold("2", "add pull-current 0.0 A", "add relay-87-voltage 11.5 V",
                "add pull-winding-ohms open, to body", "add pull-to-hold-ohms open",
                "repair pull-winding-open")  # fmt: skip
    done: list[str] = []
    while asked(talk, turn)[0] == "check":
        assert "so that what made it is found" in said(turn)
        done.append(asked(talk, turn)[1])
        turn = hold("skip", after=turn)
    assert asked(talk, turn) == ("cure", "pull-winding-open")
    assert "plunger-travel" in done
    shown = said(turn)
    for part in ("Look behind it:", "Check before a part is fitted:", "Proof of repair:"):
        assert part in shown


def test_evidence_against_an_agreed_repair_puts_it_off(
    talk: Interview, hold: Hold, said: Said
) -> None:
    """A finding that clears the cause of the agreed repair takes the interview back to checking."""
    turn = hold("2", "repair relay-contacts-open")
    assert asked(talk, turn) == ("cure", "relay-contacts-open")
    turn = hold("add relay-87-voltage 11.5 V", after=turn)
    assert "that repair is put off" in said(turn)
    assert asked(talk, turn)[0] != "cure"
    again = hold("back", after=turn)
    assert asked(talk, again) == ("cure", "relay-contacts-open")


def test_sure_cause_is_put_to_the_user(talk: Interview, hold: Hold, said: Said) -> None:
    """Above nine in ten the repair is offered, and its cure confirms the cause."""
    turn = hold("2", "add ground-side-voltage 11 V", "add ground-path-ohms open")
    first = talk.desk.answer(inquiry_of(turn.state.entries))["causes"][0]
    assert first["id"] == "ground-open"
    assert first["probability"] > 0.9
    assert asked(talk, turn)[0] == "repair"
    assert "Put this right now: Solenoid ground open" in said(turn)
    agreed = hold("1", "30 mV", after=turn)
    assert asked(talk, agreed)[0] == "cure"
    cured = hold("1", after=agreed)
    assert asked(talk, cured)[0] == "end"
    assert "Cause, confirmed by the repair: Solenoid ground open" in said(cured)


def test_nothing_is_asked_at_the_end(hold: Hold) -> None:
    """At the end words are refused, and the way on is named."""
    turn = hold("2", "repair ground-open", "1", "hello")
    assert turn.bad
    assert "summary, save, back" in turn.blocks[0].lines[0].text


def test_session_state_starts_clean(talk: Interview) -> None:
    """A new interview asks who reads before anything else."""
    assert asked(talk, talk.open(InterviewState())) == ("machine", "audience")


def test_going_on_though_a_cause_is_sure(talk: Interview, hold: Hold) -> None:
    """Where checks are still left, a sure repair can be declined, and that sticks."""
    turn = hold("2", "add ground-side-voltage 11 V", "add ground-path-ohms open")
    more = talk.desk.answer(inquiry_of(turn.state.entries))["next_checks"]
    options = {one.words: one.key for one in talk.prompt(turn.state).options}
    turn = hold(options["Go on checking"], after=turn)
    assert asked(talk, turn) == ("check", more[0]["check"])


def test_nought_is_not_known_at_the_last_menus_too(talk: Interview, hold: Hold) -> None:
    """Nobody knows what came of a repair: nothing is settled, and the work order is made."""
    turn = hold("2", "repair ground-open", "0")
    assert asked(talk, turn)[0] == "end"
    assert inquiry_of(turn.state.entries).cured is None
    assert not hold("2", "add hold-pin", "0").bad
    turn = hold("2", "add ground-side-voltage 11 V", "add ground-path-ohms open", "0")
    assert asked(talk, turn)[0] == "check", "not repaired, and not stopped while there are checks"
