"""Strategies on a tiny world whose costs are added up by hand."""

from typing import Any

import pytest

from tests.proving import strategies as play
from tests.proving.data import kb, own
from tests.proving.roughness import NOT_LISTED, ROUGH, Fate
from tests.proving.simulator import draw_one


def minutes(kind: str, name: str) -> float:
    """Return the minutes of a check or cause of kb/."""
    return float(kb(kind)[name]["minutes"])


def scripted(*steps: dict[str, Any]) -> play.Diagnose:
    """Return a diagnosis that gives the steps one after the other, the last for ever."""
    answers = list(steps)

    def diagnose(request: Any) -> dict[str, Any]:
        return answers.pop(0) if len(answers) > 1 else answers[0]

    return diagnose


def step(check: str | None = None, *repairs: str) -> dict[str, Any]:
    """Return an answer that proposes a check, or repairs in an order."""
    checks = [{"check": check}] if check else []
    return {"next_checks": checks, "advice": {"repair_order": list(repairs)}, "causes": []}


def test_floor_is_the_right_repair() -> None:
    """Repair alone costs the true cause's minutes and is right the first time."""
    machine = draw_one(0, 1, cause="pull-wire-open")
    played = play.repair_alone(machine)
    assert played.minutes == minutes("causes", "pull-wire-open")
    assert played.first_time


def test_advice_pays_checks_and_wrong_repairs() -> None:
    """A check, a wrong repair and the right one cost the sum of the three."""
    machine = draw_one(0, 1, cause="ground-open")
    said = scripted(step("fuse-look"), step(None, "fuse-open", "ground-open"))
    played = play.by_advice(machine, said)
    assert played.minutes == sum(
        [minutes("checks", "fuse-look"), minutes("causes", "fuse-open"),
         minutes("causes", "ground-open")]
    )  # fmt: skip
    assert played.repairs == ("fuse-open", "ground-open")
    assert not played.first_time


def test_advice_that_names_nothing_goes_on_by_chance_over_minutes() -> None:
    """With no repair named, the causes of the answer are tried by chance over minutes."""
    machine = draw_one(0, 1, cause="ground-open")
    answer = step() | {"causes": [{"id": "pull-winding-open", "probability": 0.5},
                                  {"id": "ground-open", "probability": 0.4}]}  # fmt: skip
    # 0.4 / 20 is more than 0.5 / 40
    assert play.by_advice(machine, scripted(answer)).repairs == ("ground-open",)


@pytest.mark.parametrize("cause", ["relay-contacts-open", "hold-winding-open", "fuse-open"])
def test_no_strategy_beats_the_floor(cause: str) -> None:
    """Fixed order and likeliest part end with the right repair and cost no less than it alone."""
    machine = draw_one(0, 1, cause=cause)
    floor = play.repair_alone(machine).minutes
    for strategy in (play.by_fixed_order, play.by_likeliest_part):
        played = strategy(machine)
        assert played.minutes >= floor
        assert cause in play.cured_by(played.repairs[-1])
        assert len(set(played.repairs)) == len(played.repairs)


def test_likeliest_part_is_the_greatest_share() -> None:
    """The first repair by likelihood is the cause with the greatest share in kb/."""
    machine = draw_one(0, 1, cause="fuse-open")
    first = play.by_likeliest_part(machine).repairs[0]
    causes = play.known_causes(machine)
    assert kb("causes")[first]["share"] == max(kb("causes")[one]["share"] for one in causes)


def test_two_faults_want_both_repairs() -> None:
    """The first right repair leaves the other fault; the call ends with the second."""
    machine = draw_one(0, 7, fate=Fate(ROUGH, "pair"))
    first, second = machine.causes
    played = play.by_advice(machine, scripted(step(None, first, second)))
    assert played.repairs == (first, second)
    assert played.first_time
    assert played.minutes == minutes("causes", first) + minutes("causes", second)


def test_handing_over_ends_the_call_and_is_right_for_what_is_not_listed() -> None:
    """Handing over costs its minutes, and is a first-time fix where nothing listed is wrong."""
    over = scripted({**step(), "advice": {"do": "hand-over", "repair_order": []}})
    for fate, right in ((Fate(ROUGH, "not-listed"), True), (Fate(ROUGH), False)):
        played = play.by_advice(draw_one(0, 3, fate=fate), over)
        assert played.minutes == own("world")["rough"]["unlisted"]["minutes"]
        assert played.first_time is right


def test_five_wrong_repairs_are_enough() -> None:
    """Who has repaired five wrong things hands the machine over."""
    machine = draw_one(0, 1, cause="ground-open")
    wrong = [one for one in play.known_causes(machine) if one != "ground-open"]
    played = play.by_advice(machine, scripted(step(None, *wrong)))
    assert played.repairs == (*wrong[: play.MOST_REPAIRS], "not-listed")
    assert not played.first_time


def test_a_new_part_cures_whichever_of_its_faults_it_was() -> None:
    """A relay fitted for open contacts cures an open coil too; a cleaned ground cures no relay."""
    machine = draw_one(0, 1, cause="relay-coil-open")
    played = play.by_advice(machine, scripted(step(None, "relay-contacts-open")))
    assert played.repairs == ("relay-contacts-open",)
    assert played.first_time
    assert play.cured_by("ground-open") == {"ground-open"}
    assert NOT_LISTED in play.cured_by("relay-coil-open", "other-volts-relay")
    assert NOT_LISTED not in play.cured_by("fuse-open", "other-volts-relay")
    assert NOT_LISTED not in play.cured_by("relay-coil-open", "charge-lamp-backfeed")


def test_handing_over_is_right_where_the_fault_is_not_of_this_circuit() -> None:
    """Who hands over an empty tank as a fault elsewhere is right, as a fault in here is not; so is
    who leaves a lock of the controller to another trade."""
    over = {**step(), "advice": {"do": "hand-over", "repair_order": []}}
    for cause, leads, right in (
        ("ran-dry", "outside", True), ("ran-dry", "fuel-supply-fault", True),
        ("ran-dry", "fuse-open", False), ("security-lockout", "security-lockout", True),
        ("security-lockout", "controller-unpowered", False),
    ):  # fmt: skip
        answer = {**over, "causes": [{"id": leads, "probability": 0.9}]}
        machine = draw_one(0, 3, cause=cause)
        assert play.by_advice(machine, scripted(answer)).first_time is right
    inside = draw_one(0, 3, cause="ground-open")
    answer = {**over, "causes": [{"id": "outside", "probability": 0.9}]}
    assert not play.by_advice(inside, scripted(answer)).first_time


def test_what_is_asked_in_the_call_stands_after_the_part_that_was_replaced() -> None:
    """Of a machine with a wrong part replaced only the complaint was told before that."""
    machine = next(
        one for n in range(60) if (one := draw_one(n, 4, fate=Fate(ROUGH, repaired=True))).replaced
    )
    requests: list[Any] = []

    def diagnose(request: Any) -> dict[str, Any]:
        requests.append(request)
        asked = step(machine.complaint)
        return asked if len(requests) < 3 else step(None, machine.cause)

    play.by_advice(machine, diagnose)
    assert machine.told_before(machine.complaint)
    assert [len(one["findings"]) for one in requests] == [1, 2, 3]
    assert all(done["after"] == 0 for one in requests for done in one["done"])
