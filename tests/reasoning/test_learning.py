"""Shares learned from closed cases."""

import pytest

from engine import Diagnoser, Knowledge, RequestError, updated_shares, with_learning
from engine.reasoning.learning import FLOOR, PRIOR_CASES

CIRCUIT = "fuel-shutoff-ignition-timed"
MACHINE = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "body-ground"}


def test_shares_are_the_posterior_mean_of_a_dirichlet(knowledge: Knowledge) -> None:
    """The new share is (prior cases x share + cases seen) over all cases (textbook update)."""
    outcomes = [{"circuit": CIRCUIT, "cause": "timer-dead", "count": 50}]
    learned = updated_shares(knowledge, outcomes)[CIRCUIT]
    total = sum(
        cause.share for cause in knowledge.causes.values() if cause.id in learned
    )  # only the causes that the circuit can have
    before = knowledge.causes["timer-dead"].share
    wanted = total * (PRIOR_CASES * before / total + 50) / (PRIOR_CASES + 50)
    assert learned["timer-dead"] == pytest.approx(wanted)
    rest = knowledge.causes["ground-resistive"].share * PRIOR_CASES / (PRIOR_CASES + 50)
    assert learned["ground-resistive"] == pytest.approx(rest)


def test_no_share_falls_below_the_floor(knowledge: Knowledge) -> None:
    """What was never seen in ten thousand cases can still happen."""
    outcomes = [{"circuit": CIRCUIT, "cause": "timer-dead", "count": 10_000}]
    learned = updated_shares(knowledge, outcomes)[CIRCUIT]
    assert min(learned.values()) == FLOOR


def test_nothing_learned_changes_nothing(knowledge: Knowledge) -> None:
    """Without outcomes the knowledge and its version stay as they are."""
    assert with_learning(knowledge, []) is knowledge


def test_learning_moves_the_ranking_of_its_circuit_only(
    knowledge: Knowledge, diagnoser: Diagnoser
) -> None:
    """A cause that was confirmed often leads without findings there, and not on other circuits."""
    outcomes = [{"circuit": CIRCUIT, "cause": "timer-dead", "count": 400}]
    learned = with_learning(knowledge, outcomes)
    learner = diagnoser.with_shares_of(learned)
    answer = learner.diagnose({"machine": MACHINE, "findings": []})
    assert answer["causes"][0]["id"] == "timer-dead"
    assert "+learned-" in answer["knowledge_version"]
    other = {"duty": "brake-release", "control": "ignition-timed", "coil": "body-ground"}
    request = {"machine": other, "findings": [], "limit": 0}
    plain = diagnoser.diagnose(request)["causes"]
    now = learner.diagnose(request)["causes"]
    assert [c["probability"] for c in now] == [c["probability"] for c in plain]


def test_bad_outcomes_are_all_reported(knowledge: Knowledge) -> None:
    """Unknown ids, counts and impossible pairs come back together, with the nearest id."""
    outcomes = [
        {"circuit": "fuel-shutoff-ignition-timd", "cause": "timer-dead"},
        {"circuit": CIRCUIT, "cause": "timer-ded"},
        {"circuit": CIRCUIT, "cause": "timer-dead", "count": -1},
        {"circuit": CIRCUIT, "cause": "brake-lock-jammed"},
    ]
    with pytest.raises(RequestError) as caught:
        updated_shares(knowledge, outcomes)
    told = [str(fault) for fault in caught.value.faults]
    assert len(told) == 4
    assert any(f"did you mean '{CIRCUIT}'" in text for text in told)
    assert any("did you mean 'timer-dead'" in text for text in told)
