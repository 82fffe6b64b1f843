"""What to do next: repairs by probability over minutes, checks by what they are expected to save.

The planner's published values are in tests/reference/test_planner.py; here are those of the order
of repairs, and what the adviser may and may not propose.
"""

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge, items
from engine.physics.machine import Machine
from engine.reasoning.advice import Limits
from engine.reasoning.planning import (
    Problem,
    clock_minutes,
    rank,
    repair_minutes,
    repair_order,
)
from engine.reasoning.request import read_request
from engine.rules.cautions import check_hazards
from tests.reference.exact_planner import Exact
from tests.sweeps import swept

# Order by p/C (Heckerman, Breese and Rommelse 1995; Kalagnanam and Henrion 1988); calculated.
CHANCES, MINUTES = np.array([0.50, 0.25, 0.15, 0.10]), np.array([10.0, 2.0, 6.0, 1.0])
CRANK = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
BRAKE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
NO_START = {"check": "engine-response", "outcome": "cranks-no-start"}


def cost_of(order: tuple[int, ...], wrong: float = 0.0, chances: Any = CHANCES) -> float:
    """Return the expected minutes of trying repairs in an order, by hand."""
    left, cost = float(sum(chances)), 0.0
    for one in order:
        cost += left * MINUTES[one]
        left -= chances[one]
        cost += left * wrong
    return cost


@pytest.mark.parametrize("rows", [3, 200])  # few are sorted, many taken in pairs
@pytest.mark.parametrize("wrong", [0.0, 30.0])
def test_rows_of_causes_cost_the_least_of_all_orders(rows: int, wrong: float) -> None:
    """Each row, whatever it sums to, costs what the best of the 24 orders costs, along any axis."""
    weights = np.random.default_rng(rows).gamma(0.3, size=(rows, 4))
    least = [
        min(cost_of(order, wrong, row) for order in itertools.permutations(range(4)))
        for row in weights
    ]
    assert repair_minutes(weights, MINUTES, wrong) == pytest.approx(least)
    assert repair_minutes(weights.T, MINUTES, wrong, axis=0) == pytest.approx(least)


def test_a_wrong_repair_costs_more_than_its_minutes() -> None:
    """With 30 minutes set on a wrong repair the order is 1 2 3 4 at 38.10: 12.60 by the clock and
    30 times .85 for wrong repairs (calc); no other order of the 24 costs less."""
    assert [one + 1 for one in repair_order(CHANCES, MINUTES, 30.0)] == [1, 2, 3, 4]
    assert float(repair_minutes(CHANCES, MINUTES, wrong=30.0)) == pytest.approx(38.10)
    assert min(cost_of(order, 30.0) for order in itertools.permutations(range(4))) == pytest.approx(
        38.10
    )
    assert float(clock_minutes(CHANCES, MINUTES, 30.0)) == pytest.approx(12.60)


@pytest.mark.parametrize(("wrong", "repair_first", "cost"), [(0.0, True, 7.0), (30.0, False, 11.0)])
def test_a_cheap_repair_is_confirmed_first(wrong: float, repair_first: bool, cost: float) -> None:
    """Two causes at .6 and .4, repairs of 5 minutes, a sure check of 6: guessing costs 7 by the
    clock and checking 11, but with 30 minutes set on a wrong repair guessing costs 19 (calc)."""
    problem = Problem(
        np.eye(2), np.eye(2), [0, 2], np.array([6.0]), np.array([5.0, 5.0]), wrong_repair=wrong
    )
    chances = np.array([0.6, 0.4])
    plan = rank(problem, chances, [0])
    assert (plan.best == plan.repair_now) is repair_first
    assert plan.repair_now == pytest.approx(7.0 + 0.4 * wrong)
    assert min(plan.repair_now, plan.options[0].two_ahead) == pytest.approx(cost)
    assert Exact(problem).cost(chances, [0]) == pytest.approx(cost)


Ask = Callable[..., dict[str, Any]]


@pytest.fixture(scope="module")
def ask(diagnoser: Diagnoser) -> Ask:
    """Give a function that diagnoses a crank-controlled machine that does not start."""

    def diagnose(*findings: dict[str, Any], **options: Any) -> dict[str, Any]:
        return diagnoser.diagnose({"machine": CRANK, "findings": [NO_START, *findings], **options})

    return diagnose


def checks(answer: dict[str, Any]) -> list[str]:
    """Return the ids of the proposed checks."""
    return [one["check"] for one in answer["next_checks"]]


def test_checks_are_proposed_that_save_time(ask: Ask, knowledge: Knowledge) -> None:
    """Every proposed check is expected to save the least that is worth a step, or is put first by
    a rule, and shows what the leading causes and a good circuit would give."""
    answer = ask()
    assert answer["advice"]["do"] == "check"
    assert answer["next_checks"]
    wished = {
        action["ask_first"]
        for row in answer["trace"]
        for action in knowledge.rules[row["rule"]].then
        if "ask_first" in action
    }
    least = knowledge.thresholds.least_saving
    worth = {one["check"]: one["saves_with_wrong_repairs"] for one in answer["next_checks"]}
    assert {name for name, minutes in worth.items() if minutes < least} <= wished
    for one in answer["next_checks"]:
        assert one["expect"][-1]["cause"] == "healthy"
        assert all(entry["reads"] for entry in one["expect"])


@pytest.mark.parametrize("kinds", [["ask"], ["look", "try"], ["meter"], []])
def test_only_what_is_at_hand_is_proposed(kinds: list[str], ask: Ask) -> None:
    """With no meter at hand no reading is proposed; with nothing at hand nothing is."""
    answer = ask(on_hand=kinds)
    assert {one["kind"] for one in answer["next_checks"]} <= set(kinds)
    if not kinds:
        assert answer["advice"]["do"] == "hand-over"
        assert "Send a trained person" in answer["advice"]["because"]


def test_a_lay_hand_is_sent_to_nothing_dangerous(ask: Ask, diagnoser: Diagnoser) -> None:
    """Nothing that needs a trained hand is proposed to a lay caller, whatever it would save; what
    was seen before may be asked for, as nothing is done for it."""
    trained = set(diagnoser.knowledge.rows("trained-hands"))
    model = diagnoser.models.get(Machine(**CRANK))
    known = diagnoser.knowledge.checks
    remembered = {name for name, one in known.items() if one.remembered}
    assert remembered == {"engine-response", "brake-response"}
    for extra in ([], [{"check": "relay-click", "outcome": "heard"}]):
        for one in ask(*extra, skill="lay")["next_checks"]:
            check = known[one["check"]]
            assert check.remembered or not check_hazards(check, model.variants) & trained


def test_a_lay_hand_may_say_what_happened(diagnoser: Diagnoser) -> None:
    """The first question is what the engine or brake did: from memory, whoever answers."""
    for machine, check in ((CRANK, "engine-response"), (BRAKE, "brake-response")):
        answer = diagnoser.diagnose({"machine": machine, "findings": [], "skill": "lay"})
        assert check in [one["check"] for one in answer["next_checks"]]
        assert diagnoser.knowledge.checks[check].kind == "ask"


def test_each_check_says_why_without_a_number(ask: Ask) -> None:
    """The reason is one sentence of words; minutes by the clock stay below repairing now."""
    answer = ask()
    for one in answer["next_checks"]:
        assert one["reason"].endswith(".")
        assert not any(letter.isdigit() for letter in one["reason"])
        assert 0 <= one["saves_minutes"] <= answer["advice"]["expected_minutes_if_repair_now"]
        assert one["saves_with_wrong_repairs"] >= 0


KITS = [["ask"], ["look"], ["ask", "look"], ["ask", "look", "try"], ["ask", "look", "try", "lamp"],
        ["ask", "look", "try", "lamp", "meter"], ["look", "meter"], list(items.KINDS)]  # fmt: skip
SO_FAR: list[list[dict[str, Any]]] = [
    [],
    [{"check": "relay-click", "outcome": "heard"}],
    [{"check": "pull-pin-voltage", "value": 11.5, "unit": "V"}],
    [{"check": "pull-current", "value": 3.0, "unit": "A"},
     {"check": "fuse-look", "outcome": "intact"}],
]  # fmt: skip


@pytest.mark.parametrize("found", swept(SO_FAR, 3))
def test_more_at_hand_is_never_a_worse_plan(
    found: list[dict[str, Any]], ask: Ask, diagnoser: Diagnoser
) -> None:
    """The best plan with a larger kit costs no more than with a smaller, lay or trained, and more
    at hand never turns a check into a repair."""
    request = {"machine": CRANK, "findings": [NO_START, *found]}
    belief = diagnoser.answer(read_request(request, diagnoser.knowledge)).belief
    assert belief is not None
    adviser = diagnoser.advisers.of(belief.model)
    known = frozenset(one["check"] for one in request["findings"])
    cost = {
        (lay, tuple(kit)): adviser.proposals(belief, Limits(known, kit, lay=lay))[1]
        for kit in KITS for lay in (True, False)
    }  # fmt: skip
    for (lay, small), (other, large) in itertools.product(cost, repeat=2):
        if set(small) <= set(large) and lay >= other:
            assert cost[other, large] <= cost[lay, small] + 1e-6
    advised = {tuple(kit): ask(*found, on_hand=kit)["advice"]["do"] for kit in KITS}
    for small, large in itertools.product(advised, repeat=2):
        if set(small) <= set(large) and advised[small] == "check":
            assert advised[large] == "check"


def test_what_hardly_helps_by_itself_waits(diagnoser: Diagnoser) -> None:
    """A check stands behind all others, however free, where it hardly changes a repair, or where
    its own worth is under the table's share of the best that does."""
    request = {"machine": CRANK, "findings": [NO_START, *SO_FAR[1]]}
    belief = diagnoser.answer(read_request(request, diagnoser.knowledge)).belief
    assert belief is not None
    limits = Limits(frozenset(one["check"] for one in request["findings"]))
    ranked = diagnoser.advisers.of(belief.model).proposals(belief, limits)[0]
    at = diagnoser.knowledge.thresholds
    least = at.idle * max(one.worth for one in ranked if one.changes >= at.least_change)
    idle = [one.worth < least or one.changes < at.least_change for one in ranked]
    assert idle == sorted(idle)
    assert 0 < sum(idle) < len(idle)


def test_what_was_answered_is_not_asked_again(ask: Ask) -> None:
    """A check that has an answer, be it 'not known', is not proposed again."""
    first = checks(ask())[0]
    assert first not in checks(ask({"check": first, "outcome": "not-known"}))
    assert "engine-response" not in checks(ask())


@pytest.mark.parametrize("options", [{}, {"on_hand": ["ask"]}, {"skill": "lay"}])
def test_where_everything_was_asked_the_call_ends(
    ask: Ask, diagnoser: Diagnoser, options: dict[str, Any]
) -> None:
    """With 'not known' to every check there is nothing more to ask, here or there."""
    model = diagnoser.models.get(Machine(**CRANK))
    told = [{"check": name, "outcome": "not-known"} for name in model.predictions]
    answer = ask(*told, **options)
    assert (answer["advice"]["do"], answer["next_checks"]) == ("hand-over", [])
    assert answer.get("further_checks", []) == []


def test_what_was_set_aside_may_be_asked_again(ask: Ask) -> None:
    """A finding that counts for nothing does not stand in the way of doing the check properly."""
    wrong = {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"}
    answer = ask(wrong, on_hand=["meter"])
    assert [one["finding"] for one in answer["set_aside"]] == [1]
    known = {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "body"}
    assert "pull-winding-ohms" not in checks(ask(known, on_hand=["meter"]))


def test_when_the_cause_is_plain_it_is_repaired(ask: Ask) -> None:
    """With the cause all but certain the advice is to put it right, and says why no check."""
    answer = ask(
        {"check": "ground-side-voltage", "value": 6.0, "unit": "V"},
        {"check": "ground-path-ohms", "value": 4.0, "unit": "ohm"},
        {"check": "ground-jumper", "outcome": "cures"},
    )
    order = answer["advice"]["repair_order"]
    assert order[0] == answer["causes"][0]["id"] == "ground-resistive"
    assert answer["advice"]["expected_minutes_if_repair_now"] < 60
    if not answer["next_checks"]:
        assert answer["advice"]["because"]


def test_a_preference_gives_way_to_a_cause_that_is_all_but_certain(diagnoser: Diagnoser) -> None:
    """A rule that would see terminal 87 first does not send a known bad ground to be measured."""
    findings = [
        {"check": "brake-response", "outcome": "will-not-release"},
        {"check": "recent-work", "outcome": "solenoid-replaced"},
        {"check": "relay-click", "outcome": "heard"},
        {"check": "ground-side-voltage", "value": 4.5, "unit": "V"},
    ]
    answer = diagnoser.diagnose({"machine": {**BRAKE, "coil": "body-ground"}, "findings": findings})
    wishes = {
        name
        for row in answer["trace"]
        for action in diagnoser.knowledge.rules[row["rule"]].then
        for name in [action.get("ask_first")]
        if name
    }
    assert "relay-87-voltage" in wishes
    assert answer["causes"][0]["probability"] > 0.9
    assert answer["advice"]["do"] == "repair"


def test_neither_healthy_nor_outside_is_repaired(ask: Ask) -> None:
    """A repair order names causes that can be put right here."""
    order = ask()["advice"]["repair_order"]
    assert order
    assert not {"healthy", "outside"} & set(order)


def test_a_check_that_changes_nothing_is_worth_nothing() -> None:
    """Two ahead every check seems to save what the check behind it saves; worth does not count it.

    Two equally likely causes of 60 minutes, a perfect check of 2 minutes and a blind one of 1.
    """
    perfect, blind = [[1.0, 0.0], [0.0, 1.0]], [[0.5, 0.5], [0.5, 0.5]]
    problem = Problem(
        np.eye(2), np.hstack([perfect, blind]), [0, 2, 4], np.array([2.0, 1.0]),
        np.array([60.0, 60.0]),
    )  # fmt: skip
    plan = rank(problem, np.array([0.5, 0.5]), [0, 1])
    worth = {one.check: plan.worth(one) for one in plan.options}
    assert worth[0] == pytest.approx(90 - 62)
    assert worth[1] < 0


def test_a_winding_is_condemned_only_against_its_own_figure(diagnoser: Diagnoser) -> None:
    """A low hold reading on a machine whose good ohms nobody stated asks for the figure; with the
    figure of the plate the part is condemned."""
    findings = [
        {"check": "engine-response", "outcome": "dies-while-running"},
        {"check": "hold-winding-ohms", "value": 8.0, "unit": "ohm"},
        {"check": "hold-current", "value": 1.6, "unit": "A"},
    ]

    def advised(**machine: Any) -> dict[str, Any]:
        answer = diagnoser.diagnose({"machine": {**CRANK, **machine}, "findings": findings})
        assert answer["causes"][0]["id"] == "hold-winding-shorted"
        return dict(answer["advice"])

    unknown, known = advised(), advised(hold_ohms=18.5, hold_ohms_from="plate")
    assert unknown["do"] != "repair"
    assert unknown["get_figure"] == "hold_ohms"
    assert "plate" in unknown["because"]
    assert "get_figure" not in known
    assert known["do"] == "repair"


def test_the_look_that_confirms_a_leader_is_among_the_first(diagnoser: Diagnoser) -> None:
    """Behind the best check stands one that confirms the leading cause, not only readings that ask
    the same question at another place."""
    findings = [
        {"check": "brake-response", "outcome": "will-not-release"},
        {"check": "interlock-lamp", "outcome": "on"},
    ]
    answer = diagnoser.diagnose({"machine": BRAKE, "findings": findings})
    leader = diagnoser.knowledge.causes[answer["causes"][0]["id"]]
    assert leader.id == "interlock-not-met"
    assert set(leader.confirmed_by) & set(checks(answer)[:3])


def test_the_leader_is_looked_at_though_the_plan_would_hardly_change(diagnoser: Diagnoser) -> None:
    """Volts leave the relay and do not reach the pin: the plug is opened before a wire is drawn."""
    findings = [
        {"check": "brake-response", "outcome": "will-not-release"},
        {"check": "relay-87-voltage", "value": 12.5, "unit": "V"},
        {"check": "pull-pin-voltage", "value": 0.3, "unit": "V"},
        {"check": "ground-side-voltage", "value": 0.0, "unit": "V"},
    ]
    asked = {"machine": BRAKE, "findings": findings, "on_hand": ["ask", "look", "try", "meter"]}
    answer = diagnoser.diagnose(asked)
    assert answer["causes"][0]["id"] == "pull-wire-open"
    assert answer["advice"]["do"] == "check"
    assert "connector-look" in checks(answer)[:3]


def test_what_fails_as_it_is_heated_was_found(diagnoser: Diagnoser) -> None:
    """Open under the heat gun is repaired from a half on, as what a hand found; a cold reading that
    is good beside it changes nothing."""
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "case-ground"}
    findings: list[dict[str, Any]] = [
        {"check": "engine-response", "outcome": "dies-while-running"},
        {"check": "failure-pattern", "outcome": "hot-only"},
        {"check": "hold-winding-ohms", "value": 27, "unit": "ohm", "measured_to": "ground-pin"},
        {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "ground-pin",
         "while": "heated"},
    ]  # fmt: skip
    answer = diagnoser.diagnose({"machine": machine, "findings": findings})
    thresholds = diagnoser.knowledge.thresholds
    assert answer["causes"][0]["id"] == "hold-winding-open"
    assert thresholds.leads <= answer["causes"][0]["probability"] < thresholds.measured
    assert answer["advice"]["do"] == "repair"


def test_who_can_ask_only_what_tells_little_hands_over(diagnoser: Diagnoser) -> None:
    """With questions alone left that tell less than a third of what tools would, the call is handed
    over; with eyes and tools it goes on."""
    findings = [
        NO_START,
        {"check": "crank-speed", "outcome": "normal"},
        {"check": "relay-click", "outcome": "heard"},
        {"check": "plunger-action", "outcome": "no-movement"},
        {"check": "failure-pattern", "outcome": "always"},
        {"check": "recent-work", "outcome": "none"},
    ]
    machine = {**CRANK, "control": "ignition-timed"}
    course = {
        kinds: diagnoser.diagnose(
            {"machine": machine, "findings": findings, "on_hand": list(kinds)}
        )["advice"]["do"]
        for kinds in (("ask",), ("ask", "look", "meter"))
    }
    assert course == {("ask",): "hand-over", ("ask", "look", "meter"): "check"}


def test_two_causes_that_nothing_tells_apart_are_repaired_in_order(diagnoser: Diagnoser) -> None:
    """Timer or contact holds the pull on, the winding is burned, and no command is allowed: the
    contact is tried with the relay out. Where that cannot be done, both are repaired in order
    rather than handed to somebody who could not tell them apart either."""
    findings = [
        NO_START,
        {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
        {"check": "pull-pin-voltage-after-unplugged", "value": 12.4, "unit": "V"},
    ]
    machine = {**CRANK, "control": "ignition-timed", "coil": "case-ground"}
    answer = diagnoser.diagnose({"machine": machine, "findings": findings})
    assert answer["advice"]["do"] == "check"
    assert answer["next_checks"][0]["check"] == "relay-contact-unpowered"
    findings.append({"check": "relay-contact-unpowered", "outcome": "not-known"})
    advice = diagnoser.diagnose({"machine": machine, "findings": findings})["advice"]
    assert advice["do"] == "repair"
    assert set(advice["repair_order"][:2]) == {"timer-stuck-on", "relay-contacts-welded"}


@pytest.mark.parametrize(("machine", "foreign"), [(CRANK, "releases-brake"), (BRAKE, "opens-fuel")])
def test_a_step_has_only_the_dangers_that_its_machine_has(
    machine: dict[str, str], foreign: str, diagnoser: Diagnoser
) -> None:
    """A step for both duties has no danger of a brake on a fuel solenoid, nor the reverse."""
    variants = diagnoser.models.get(Machine(**machine)).variants
    check = diagnoser.knowledge.checks["plunger-travel"]
    hazards = check_hazards(check, variants)
    assert foreign in check.hazards
    assert hazards == set(check.hazards) - {foreign}


def test_what_was_found_by_hand_is_put_right_before_anything_is_measured(
    diagnoser: Diagnoser,
) -> None:
    """A plunger felt to stop short is repaired at little over a half; told of nothing, it is not,
    whatever else may be wrong besides."""
    findings = [
        {"check": "brake-response", "outcome": "releases-then-drops"},
        {"check": "connector-look", "outcome": "corroded"},
        {"check": "hold-pin-voltage", "value": 8.5, "unit": "V"},
    ]
    felt = {"check": "plunger-travel", "outcome": "stops-short"}
    before, after = (
        diagnoser.diagnose({"machine": BRAKE, "findings": found})
        for found in (findings, [*findings, felt])
    )
    thresholds = diagnoser.knowledge.thresholds
    assert before["advice"]["do"] == "check"
    assert after["causes"][0]["id"] == "travel-short"
    assert thresholds.leads <= after["causes"][0]["probability"] < thresholds.measured
    assert after["advice"]["do"] == "repair"


def test_a_machine_that_does_not_hold_is_not_diagnosed_by_phone(diagnoser: Diagnoser) -> None:
    """First it is made safe; then who can only ask hands over, and who has tools goes on."""
    rolls = {"check": "brake-response", "outcome": "will-not-hold"}
    secured = {"check": "machine-secured", "outcome": "secured"}

    def advice(findings: list[dict[str, str]], *kinds: str) -> Any:
        asked = {"machine": BRAKE, "findings": findings, "on_hand": list(kinds)}
        return diagnoser.diagnose(asked)

    first = advice([rolls], "ask")
    assert (first["advice"]["do"], checks(first)[0]) == ("check", "machine-secured")
    by_phone = advice([rolls, secured], "ask")["advice"]
    assert by_phone["do"] == "hand-over"
    assert "no further by phone" in by_phone["because"]
    assert advice([rolls, secured], "ask", "look", "meter")["advice"]["do"] == "check"


def test_where_the_fault_lies_past_this_circuit_the_machine_is_handed_on(
    diagnoser: Diagnoser,
) -> None:
    """A solenoid that pulls and a lock seen to move leave the drive; the plunger alone does not."""
    findings = [
        {"check": "brake-response", "outcome": "will-not-release"},
        {"check": "plunger-action", "outcome": "pulls-and-stays"},
    ]
    lock = {"check": "lock-look", "outcome": "present-and-moves"}
    before, after = (
        diagnoser.diagnose({"machine": BRAKE, "findings": found})["advice"]
        for found in (findings, [*findings, lock])
    )
    assert before["do"] == "check"
    assert after["do"] == "hand-over"
    assert "past this circuit" in after["because"]


def test_a_machine_that_works_and_reads_good_is_handed_back(diagnoser: Diagnoser) -> None:
    """Once somebody has seen it work; not on the word of the caller alone, nor where the fault
    comes and goes, nor where a reading denies it."""
    normal = {"check": "brake-response", "outcome": "normal"}
    seen = {"check": "plunger-action", "outcome": "pulls-and-stays"}
    amperes = {"check": "pull-current", "value": 34, "unit": "A"}
    course = {
        name: diagnoser.diagnose({"machine": BRAKE, "findings": [normal, *found]})["advice"]["do"]
        for name, found in {
            "good": [seen, amperes],
            "said": [],
            "at times": [seen, amperes, {"check": "failure-pattern", "outcome": "random"}],
            "pull stays on": [
                seen, amperes, {"check": "pull-pin-voltage-after", "value": 13.2, "unit": "V"},
            ],
        }.items()
    }  # fmt: skip
    assert course.pop("good") == "hand-over"
    assert "hand-over" not in course.values()


def test_what_proved_the_shut_off_hands_the_engine_on(diagnoser: Diagnoser) -> None:
    """Fuel at the injectors and white smoke: what is left to ask concerns no cause of this
    circuit. What comes and goes a good reading does not clear: there questions come first."""
    smoke = [
        {"check": "engine-response", "outcome": "cranks-no-start"},
        {"check": "crank-speed", "outcome": "normal"},
        {"check": "exhaust-smoke-at-crank", "outcome": "white"},
        {"check": "plunger-action", "outcome": "pulls-and-stays"},
        {"check": "fuel-at-injectors", "outcome": "fuel-present"},
    ]
    for control in ("ignition-timed", "controller-on-crank"):
        there = diagnoser.diagnose({"machine": {**CRANK, "control": control}, "findings": smoke})
        assert (there["causes"][0]["id"], there["advice"]["do"]) == ("outside", "hand-over")
    fades = [{"check": "engine-response", "outcome": "dies-while-running"},
             {"check": "failure-pattern", "outcome": "hot-only"},
             {"check": "hold-pin-voltage-running", "value": 13.8, "unit": "V"}]  # fmt: skip
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    assert diagnoser.diagnose({"machine": machine, "findings": fades})["advice"]["do"] == "check"


def test_a_cheap_look_is_among_the_first_beside_the_meter(diagnoser: Diagnoser) -> None:
    """Two minutes for a look at the fuse come before a third reading."""
    findings = [
        NO_START,
        {"check": "recent-work", "outcome": "solenoid-replaced"},
        {"check": "relay-click", "outcome": "heard"},
        {"check": "plunger-action", "outcome": "no-movement"},
    ]
    machine = {**CRANK, "control": "ignition-timed"}
    first = checks(diagnoser.diagnose({"machine": machine, "findings": findings}))[:3]
    kinds = [diagnoser.knowledge.checks[one].kind for one in first]
    assert {"look", "meter"} <= set(kinds)


def test_whether_it_fails_every_time_is_asked_before_a_repair_of_what_is_inferred(
    diagnoser: Diagnoser, knowledge: Knowledge
) -> None:
    """Common practice, no source: the lamp and the display point at the seat switch, nobody
    looked at it. It stands so far apart that it is seen to; did it not, the free question whether
    it fails every time came first, once, unless the display shows the seat."""
    told = [{"check": "brake-response", "outcome": "will-not-release"},
            {"check": "interlock-lamp", "outcome": "on"},
            {"check": "brake-display", "outcome": "shows-applied"}]  # fmt: skip
    asked: dict[str, Any] = {"machine": BRAKE, "findings": told, "on_hand": ["ask"]}
    apart = diagnoser.diagnose(asked)["advice"]
    assert (apart["do"], apart["repair_order"][0]) == ("repair", "interlock-not-met")
    table = knowledge.tables["advice"]
    harder = {"apart": 1000.0, "seen-decibans": 11.5}
    rows = tuple({**row, "value": harder.get(row["id"], row["value"])} for row in table.rows)
    strict = Diagnoser(
        replace(knowledge, tables={**knowledge.tables, "advice": replace(table, rows=rows)})
    )
    before = strict.diagnose(asked)
    assert before["advice"]["do"] == "check"
    assert before["next_checks"][0]["check"] == "failure-pattern"
    for more in (
        {"check": "failure-pattern", "outcome": "always"},
        {"check": "failure-pattern", "outcome": "not-known"},
        {"check": "display-message", "outcome": "seat-or-bar"},
    ):
        after = strict.diagnose({**asked, "findings": [*told, more]})["advice"]
        assert (after["do"], after["repair_order"][0]) == ("repair", "interlock-not-met")


def test_what_another_trade_puts_right_is_handed_over_though_it_was_found(
    diagnoser: Diagnoser,
) -> None:
    """Common practice, no source: a starter that was heard to click, a lock on the display; nobody
    puts them right in this circuit, with whatever tools. A burned fuse holder he does."""
    dead = [{"check": "engine-response", "outcome": "no-crank"},
            {"check": "starter-sound", "outcome": "one-clack"},
            {"check": "battery-voltage-crank", "value": 12.3, "unit": "V"}]  # fmt: skip
    locked = [NO_START, {"check": "display-message", "outcome": "lock-or-key"},
              {"check": "relay-click", "outcome": "not-heard"},
              {"check": "controller-supply-voltage", "value": 12.4, "unit": "V"},
              {"check": "crank-signal-voltage", "value": 11.5, "unit": "V"}]  # fmt: skip
    holder = [NO_START, {"check": "plunger-action", "outcome": "no-movement"},
              {"check": "fuse-drop-voltage", "value": 1.7, "unit": "V"}]  # fmt: skip
    for findings, cause, do in (
        (dead, "cranking-fault", "hand-over"), (locked, "security-lockout", "hand-over"),
        (holder, "fuse-contact-resistive", "repair"),
    ):  # fmt: skip
        answer = diagnoser.diagnose({"machine": CRANK, "findings": findings})
        assert (answer["causes"][0]["id"], answer["advice"]["do"]) == (cause, do)
        assert ("for others to put right" in answer["advice"]["because"]) == (do == "hand-over")


def test_a_hand_over_past_this_circuit_names_what_leads(diagnoser: Diagnoser) -> None:
    """An engine that ran dry is handed on as that; where nothing that is named leads, none is."""
    dry = [NO_START, {"check": "ran-dry-or-filter", "outcome": "ran-dry"},
           {"check": "plunger-action", "outcome": "pulls-and-stays"}]  # fmt: skip
    named = diagnoser.diagnose({"machine": CRANK, "findings": dry})
    assert (named["causes"][0]["id"], named["advice"]["do"]) == ("ran-dry", "hand-over")
    assert named["causes"][0]["name"] in named["advice"]["because"]
    fuel = [NO_START, {"check": "fuel-at-injectors", "outcome": "fuel-present"},
            {"check": "crank-speed", "outcome": "normal"}]  # fmt: skip
    other = diagnoser.diagnose({"machine": CRANK, "findings": fuel})
    assert (other["causes"][0]["id"], other["advice"]["do"]) == ("outside", "hand-over")
    assert "What leads" not in other["advice"]["because"]


def test_what_is_seen_beside_the_leader_is_put_right_with_it(diagnoser: Diagnoser) -> None:
    """Common practice, no source: a lever that sends nothing to the controller, and a lock seen
    jammed. No one cause gives both, and both are there."""
    lever = [{"check": "brake-response", "outcome": "will-not-release"},
             {"check": "release-signal-voltage", "value": 0.2, "unit": "V"}]  # fmt: skip
    jammed = {"check": "lock-look", "outcome": "jammed"}
    alone, both = (
        diagnoser.diagnose({"machine": BRAKE, "findings": found})
        for found in (lever, [*lever, {"check": "parked-on-slope", "outcome": "yes"}, jammed])
    )
    assert alone["causes"][0]["id"] == both["causes"][0]["id"] == "release-request-missing"
    assert (alone["advice"]["do"], both["advice"]["do"]) == ("check", "repair")
    assert "brake-lock-jammed" in both["advice"]["repair_order"]


def test_two_faults_that_their_own_checks_found_are_both_put_right(diagnoser: Diagnoser) -> None:
    """Common practice, no source: a burned holder and a long link, each measured, are no rivals;
    a timer and a contact that one reading accuses are."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    two = [NO_START, {"check": "plunger-action", "outcome": "pulls-then-drops"},
           {"check": "fuse-drop-voltage", "value": 1.7, "unit": "V"},
           {"check": "plunger-travel", "outcome": "stops-short"}]  # fmt: skip
    one = [NO_START, {"check": "pull-winding-ohms", "outcome": "open"},
           {"check": "pull-pin-voltage-after-unplugged", "value": 12.4, "unit": "V"}]  # fmt: skip
    advice = diagnoser.diagnose({"machine": machine, "findings": two})["advice"]
    assert advice["do"] == "repair"
    assert {*advice["repair_order"][:2]} == {"travel-short", "fuse-contact-resistive"}
    assert diagnoser.diagnose({"machine": machine, "findings": one})["advice"]["do"] == "check"


def test_what_lies_beyond_is_handed_over_though_its_kind_is_open(diagnoser: Diagnoser) -> None:
    """Common practice, no source: a shut-off that opens after a change of filter is left alone:
    whether it is air or supply is another trade's, and no question here brings the circuit back.
    Before the plunger was seen, the circuit is looked at."""
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "case-ground"}
    told = [NO_START, {"check": "ran-dry-or-filter", "outcome": "filter-changed"},
            {"check": "exhaust-smoke-at-crank", "outcome": "none"}]  # fmt: skip
    seen = {"check": "plunger-action", "outcome": "pulls-and-stays"}
    before = diagnoser.diagnose({"machine": machine, "findings": told})["advice"]
    after = diagnoser.diagnose({"machine": machine, "findings": [*told, seen]})["advice"]
    assert (before["do"], after["do"]) == ("check", "hand-over")


@pytest.mark.parametrize("control", ["controller-on-crank", "ignition-timed"])
@pytest.mark.parametrize("coil", ["body-ground", "unknown"])
def test_by_phone_a_call_is_not_handed_over_before_anything_was_asked(
    diagnoser: Diagnoser, control: str, coil: str
) -> None:
    """Common practice, no source: with the complaint alone, who can only ask asks."""
    machine = {"duty": "fuel-shutoff", "control": control, "coil": coil}
    told: list[dict[str, Any]] = [NO_START]
    for _ in range(2):
        request = {"machine": machine, "findings": told, "on_hand": ["ask"], "skill": "lay"}
        answer = diagnoser.diagnose(request)
        assert answer["advice"]["do"] == "check"
        assert answer["next_checks"][0]["kind"] == "ask"
        told.append({"check": answer["next_checks"][0]["check"], "outcome": "not-known"})
