"""What was put right between findings: what it can have changed is dropped, the rest stays."""

from typing import Any

import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Fault, Knowledge, RequestError
from engine.reasoning.request import causes_of_part, read_request

CRANK = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
NO_START = {"check": "engine-response", "outcome": "cranks-no-start"}
DEAD_FUSE = {"check": "fuse-output-voltage", "value": 0, "unit": "V"}
BATTERY = {"check": "battery-voltage-rest", "value": 12.6, "unit": "V"}


def asked(*findings: dict[str, Any], done: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a request with something put right."""
    return {"machine": CRANK, "findings": list(findings), "done": done, "limit": 0}


def chances(answer: dict[str, Any]) -> dict[str, float]:
    """Return the probability of each cause."""
    return {one["id"]: one["probability"] for one in answer["causes"]}


@pytest.mark.parametrize("act", [{"cause": "fuse-open"}, {"part": "the fuse"}])
def test_what_a_new_fuse_can_have_changed_is_dropped(
    act: dict[str, Any], diagnoser: Diagnoser
) -> None:
    """After a new fuse the dead fuse and the complaint no longer count, the battery's rest does."""
    answer = diagnoser.diagnose(asked(NO_START, DEAD_FUSE, BATTERY, done=[{**act, "after": 2}]))
    assert [one["finding"] for one in answer["superseded"]] == [0, 1]
    assert "before this was put right" in answer["superseded"][0]["because"]
    rows = [row["finding"] for cause in answer["causes"] for row in cause["evidence"]]
    assert set(rows) == {2}
    assert chances(answer)["fuse-open"] == 0


def test_what_was_found_after_the_repair_counts(diagnoser: Diagnoser) -> None:
    """The same findings in the other order: the fuse was put right first, so both count."""
    after = diagnoser.diagnose(asked(BATTERY, NO_START, done=[{"cause": "fuse-open", "after": 0}]))
    assert after["superseded"] == []
    assert chances(after)["fuse-open"] == 0


def test_without_after_everything_was_found_before(diagnoser: Diagnoser) -> None:
    """A repair that says no more was the last thing done."""
    answer = diagnoser.diagnose(asked(NO_START, BATTERY, done=[{"cause": "fuse-open"}]))
    assert [one["finding"] for one in answer["superseded"]] == [0]


def test_a_dropped_finding_is_asked_again(diagnoser: Diagnoser) -> None:
    """What the machine does now is not known after the repair: the question comes again."""
    answer = diagnoser.diagnose(
        asked(NO_START, done=[{"cause": "fuse-open"}]) | {"on_hand": ["ask"]}
    )
    assert "engine-response" in [one["check"] for one in answer["next_checks"]]


def test_a_new_solenoid_may_be_the_wrong_one(knowledge: Knowledge) -> None:
    """Words for a part find the causes in it, but not what a new part brings."""
    found = causes_of_part("a new solenoid", knowledge)
    assert {"pull-winding-open", "hold-winding-open", "plunger-binding"} <= set(found)
    assert not {"wrong-voltage-part", "wrong-ground-style", "ground-open"} & set(found)


@pytest.mark.parametrize(
    ("act", "path", "message"),
    [
        ({"cause": "fuse-opn"}, ".cause", "unknown cause 'fuse-opn' (did you mean 'fuse-open'?)"),
        ({"part": "fuse", "after": 1}, ".after", "counts findings from 0; there are 1"),
        ({}, "", "names either a cause or a part"),
        ({"part": "fuse", "cause": "fuse-open"}, "", "names either a cause or a part"),
    ],
)  # fmt: skip
def test_a_repair_that_cannot_be_is_refused(
    act: dict[str, Any], path: str, message: str, knowledge: Knowledge
) -> None:
    """What was put right is known, and lies after a finding that there is."""
    with pytest.raises(RequestError) as error:
        read_request(asked(NO_START, done=[act]), knowledge)
    assert list(error.value.faults) == [Fault(f"done[0]{path}", message)]
