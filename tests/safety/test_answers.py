"""Whole answers: the general caution always, chocks on a brake, nothing that a danger forbids."""

import re
from pathlib import Path
from typing import Any

import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge.text import load_yaml
from engine.rules.cautions import check_hazards
from tests.safety.support import lacking, variants

FILES = sorted((Path(__file__).parents[1] / "cases" / "worked").glob("*.yaml"))
REQUESTS: dict[str, dict[str, Any]] = {
    path.stem: load_yaml(path.read_text(encoding="utf-8"), path.name)["request"] for path in FILES
}
BRAKE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
TIMED_BRAKE = {**BRAKE, "control": "ignition-timed"}
FUEL = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}


def said(answer: dict[str, Any]) -> str:
    """Return the cautions of the answer as a whole, as one text."""
    return " ".join(one["text"] for one in answer["cautions"])


def test_every_answer_carries_the_general_caution(remembering: Diagnoser) -> None:
    """Every answer defers to the maker's manual, the site's lockout rules and local codes; one
    about a brake says chocks and lowered attachment too."""
    for name, request in REQUESTS.items():
        text = said(remembering.diagnose(request))
        assert re.search(r"service manual.*lockout rules.*local codes", text), name
        assert re.search(r"key-off|key off", text, re.IGNORECASE), name
        if request["machine"]["duty"] == "brake-release":
            assert re.search(r"chocked", text), name
            assert re.search(r"arm (down|lowered)|support device", text), name


def test_every_proposed_check_and_cause_carries_its_cautions(remembering: Diagnoser) -> None:
    """What an answer proposes or repairs carries the cautions of its hazards with it."""
    knowledge, every = remembering.knowledge, list(variants(remembering.knowledge))
    for name, request in REQUESTS.items():
        answer, machine = remembering.diagnose(request), request["machine"]
        mine = [
            one for one in every
            if one.circuit.duty == machine["duty"]
            and machine["control"] in (one.circuit.control, "unknown")
            and machine["coil"] in (one.coil, "unknown")
        ]  # fmt: skip
        for one in answer["next_checks"]:
            hazards = check_hazards(knowledge.checks[one["check"]], mine)
            assert not lacking(hazards, one["cautions"], machine["duty"]), (name, one["check"])
        for cause in answer["causes"]:
            hazards = frozenset(knowledge.causes[cause["id"]].hazards)
            assert not lacking(hazards, cause["cautions"], machine["duty"]), (name, cause["id"])


@pytest.mark.parametrize(
    "finding",
    [
        {"check": "brake-response", "outcome": "will-not-hold"},
        {"check": "lock-look", "outcome": "broken-or-missing"},
    ],
    ids=["will-not-hold", "lock-broken"],
)
@pytest.mark.parametrize("machine", [BRAKE, TIMED_BRAKE], ids=["request", "timed"])
def test_a_brake_that_does_not_hold_stops_the_work(
    finding: dict[str, Any], machine: dict[str, Any], diagnoser: Diagnoser
) -> None:
    """When nothing holds the machine the first caution is to stop and chock it, and no proposed
    check releases the brake or moves the machine. The lock itself may be looked at: chocked,
    engine off, battery off."""
    answer = diagnoser.diagnose({"machine": machine, "findings": [finding]})
    first = answer["cautions"][0]["text"]
    assert re.search(r"chock", first, re.IGNORECASE)
    assert re.search(r"(do not|stop|out of use|tag)", first, re.IGNORECASE)
    knowledge = diagnoser.knowledge
    mine = [one for one in variants(knowledge) if one.circuit.control == machine["control"]
            and one.circuit.duty == "brake-release"]  # fmt: skip
    for one in answer["next_checks"]:
        hazards = check_hazards(knowledge.checks[one["check"]], mine)
        if one["check"] == "lock-look":
            assert re.search(r"chock", " ".join(one["cautions"]), re.IGNORECASE)
            assert re.search(r"chocked.*engine off", one["say"])
            continue
        assert not hazards & {"releases-brake", "moving"}, one["check"]


def test_a_display_is_no_brake(diagnoser: Diagnoser) -> None:
    """A display that says applied proves no lock: the belief that it is gone stays what it was."""
    rolls = {"check": "brake-response", "outcome": "will-not-hold"}
    display = {"check": "brake-display", "outcome": "shows-applied"}
    missing = []
    for findings in ([rolls], [rolls, display]):
        answer = diagnoser.diagnose({"machine": BRAKE, "findings": findings})
        ranked = {one["id"]: one["probability"] for one in answer["causes"]}
        missing.append(ranked["brake-lock-missing"])
    assert missing[1] == pytest.approx(missing[0])
    assert missing[0] > 0.05
    assert re.search(r"display.*(only|no brake|cannot know)", said(answer), re.IGNORECASE)


def test_a_smoking_coil_is_not_energised_by_hand(diagnoser: Diagnoser) -> None:
    """A coil that smokes is switched off first; nobody is asked to put more current through it."""
    answer = diagnoser.diagnose(
        {"machine": FUEL, "findings": [{"check": "coil-temperature", "outcome": "smoking"}]}
    )
    assert re.search(r"smok|burn", said(answer), re.IGNORECASE)
    for one in answer["next_checks"]:
        assert "hand-energise" not in diagnoser.knowledge.checks[one["check"]].hazards


def test_an_engine_that_will_not_stop_has_another_way(diagnoser: Diagnoser) -> None:
    """With an engine that runs on at key-off the cautions name another way to stop it."""
    answer = diagnoser.diagnose(
        {"machine": FUEL, "findings": [{"check": "engine-response", "outcome": "will-not-stop"}]}
    )
    assert re.search(r"(stop lever|fuel tap|by hand|another way)", said(answer), re.IGNORECASE)


def test_an_engine_out_of_scope_still_has_its_cautions(diagnoser: Diagnoser) -> None:
    """A machine that has no such circuit is told so, with the general caution and no checks."""
    answer = diagnoser.diagnose(
        {"machine": FUEL, "findings": [{"check": "fuel-control", "outcome": "electronic"}]}
    )
    assert answer["scope"]["covered"] is False
    assert answer["scope"]["because"]
    assert answer["next_checks"] == []
    assert "service manual" in said(answer)


def test_a_new_part_waits_for_the_proof(diagnoser: Diagnoser) -> None:
    """Behind a burned pull winding the answer asks for the pull to end and the plunger to bottom
    before a new solenoid is fitted."""
    answer = diagnoser.diagnose({
        "machine": FUEL,
        "findings": [{"check": "pull-winding-ohms", "outcome": "open",
                      "measured_to": "ground-pin"}],
    })  # fmt: skip
    lead = answer["causes"][0]
    assert lead["id"] == "pull-winding-open"
    assert {"pull-pin-voltage-after", "plunger-travel"} <= set(lead["before_replacing"])
    assert {one["cause"] for one in lead["look_behind"]} >= {"timer-stuck-on", "travel-short"}
