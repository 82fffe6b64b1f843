"""The checks that only a recording answers: who is sent to them, and what recordings tell."""

from typing import Any

import numpy as np
import pytest

from engine import Diagnoser
from engine.knowledge import items
from engine.traces.findings import TraceReport
from tests.traces.test_findings import PULL, RATE, START, amperes, report, volts

WITHOUT = list(items.USUAL_KINDS)
CRANK = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground",
         "fuel_actuation": "in-block"}  # fmt: skip
WEAK: dict[str, Any] = {"machine": CRANK, "findings": [
    {"check": "engine-response", "outcome": "cranks-no-start"},
    {"check": "pull-pin-voltage", "value": 10.6, "unit": "V"},
]}  # fmt: skip


def outcome(found: TraceReport, check: str) -> str | None:
    """Return what a recording tells of a check."""
    return next((one.outcome for one in found.findings if one.check == check), None)


def proposed(diagnoser: Diagnoser, request: dict[str, Any]) -> set[str]:
    """Return the kinds of check that are proposed, for now and with more at hand."""
    answer = diagnoser.diagnose(request)
    checks = diagnoser.knowledge.checks
    rows = [*answer["next_checks"], *answer["advice"].get("with_more_at_hand", ())]
    return {checks[one["check"]].kind for one in rows}


@pytest.mark.parametrize("hands", [None, WITHOUT, ["ask"]])
def test_nobody_without_a_recorder_is_sent_for_one(
    hands: list[str] | None, diagnoser: Diagnoser
) -> None:
    """Left out, or everything else at hand: no check of a recording is proposed."""
    request = WEAK if hands is None else {**WEAK, "on_hand": hands}
    assert "recorder" not in proposed(diagnoser, request)


def test_who_has_one_is_sent_to_it_where_it_tells_most(diagnoser: Diagnoser) -> None:
    """In the block nobody sees the plunger: with a recorder alone at hand it is what is left."""
    answer = diagnoser.diagnose({**WEAK, "on_hand": ["recorder"]})
    assert answer["next_checks"][0]["check"] == "plunger-recorded"
    said = " ".join(answer["next_checks"][0]["cautions"]).lower()
    for words in ("engine turns", "live", "plunger moves", "negative off first"):
        assert words in said


def test_every_recording_is_live_work_with_its_cautions(diagnoser: Diagnoser) -> None:
    """Each names that it is live, that the plunger moves, and that the pull is commanded."""
    found = [one for one in diagnoser.knowledge.checks.values() if one.kind == "recorder"]
    assert len(found) == 5
    for one in found:
        assert {"live", "plunger", "battery"} <= set(one.hazards)
        assert one.commanded
        assert "clear of the linkage" in one.how


def test_a_notch_and_its_time_answer_the_plunger() -> None:
    """Seated within a quarter of a second; none where it stays."""
    assert outcome(report(pull_current=amperes()), "plunger-recorded") == "seats"
    still = report(pull_current=amperes(moves=False))
    assert outcome(still, "plunger-recorded") == "does-not-seat"
    assert outcome(report(100, pull_current=amperes(rate=100)), "plunger-recorded") is None


@pytest.mark.parametrize(("breaks", "word"), [(0, "clean"), (3, "bounces"), (7, "chatters")])
def test_breaks_answer_the_contact(breaks: int, word: str) -> None:
    """None, a few at the start, or many."""
    pin = volts()
    for n in range(breaks):
        at = round(START * RATE) + 5 + 10 * n
        pin[at : at + 5] = 0
    assert outcome(report(pull_volts=pin), "contact-recorded") == word


def test_a_break_in_the_middle_is_chatter() -> None:
    """A relay that lets go and grabs again half way through."""
    pin = volts()
    at = round((START + PULL / 2) * RATE)
    pin[at : at + 20] = 0
    assert outcome(report(pull_volts=pin), "contact-recorded") == "chatters"


@pytest.mark.parametrize(("delay", "word"), [(0.012, "prompt"), (0.04, "late")])
def test_the_relays_time_is_told(delay: float, word: str) -> None:
    """Under and over 25 ms from coil to contact."""
    at = np.arange(0, 1.6, 1 / RATE)
    coil = np.where((at > START - delay) & (at < START + PULL), 12.0, 0.0)
    found = report(pull_volts=volts(), relay_volts=coil + volts() * 1e-3)
    assert outcome(found, "relay-recorded") == word


def test_hold_and_kick_are_told() -> None:
    """Chopped or steady; clamped or not, and nothing where the recording is too slow to say."""
    at = np.arange(0, 3, 1 / RATE)
    hold = np.where((at > START) & ((at * 100) % 1 < 0.4), 1.5, 0.0)
    found = report(pull_volts=volts(length=3), hold_current=hold)
    assert outcome(found, "hold-recorded") == "chopped"
    assert outcome(report(pull_volts=volts(kick=-60)), "kick-recorded") == "not-clamped"
    assert outcome(report(50000, pull_volts=volts(50000)), "kick-recorded") == "clamped"
    assert outcome(report(pull_volts=volts()), "kick-recorded") is None


def test_a_seat_moves_belief_away_from_a_weak_pull(diagnoser: Diagnoser) -> None:
    """A plunger that was recorded to seat speaks against the causes that keep it from it."""
    before = diagnoser.diagnose(WEAK)
    seats = {"check": "plunger-recorded", "outcome": "seats"}
    after = diagnoser.diagnose({**WEAK, "findings": [*WEAK["findings"], seats]})

    def of(answer: dict[str, Any], cause: str) -> float:
        return next((one["probability"] for one in answer["causes"] if one["id"] == cause), 0.0)

    lead = before["causes"][0]["id"]
    assert lead not in ("healthy", "outside")
    assert of(after, lead) < 0.5 * of(before, lead)
