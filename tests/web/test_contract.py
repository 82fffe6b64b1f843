"""What callers may rely on: no field of the contract is renamed or dropped."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from api.answers import demos
from engine.knowledge.text import load_yaml
from tests.sweeps import SLOW, swept

WORKED = sorted((Path(__file__).parents[2] / "tests" / "cases" / "worked").glob("*.yaml"))
REQUESTS = [pytest.param(demo.request, id=demo.id) for demo in swept(demos.load_all(), 2)] + [
    pytest.param(load_yaml(path.read_text(), path.name)["request"], id=path.stem)
    for path in swept(WORKED[1 :: 4 if SLOW else 12], 4)
]

REQUESTS += [
    pytest.param(
        {
            "machine": {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"},
            "findings": [
                {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
                {"check": "pull-to-hold-ohms", "outcome": "open"},
                {"check": "pull-pin-voltage-unplugged", "value": 0, "unit": "V"},
                {"check": "relay-87-voltage", "value": 12.3, "unit": "V"},
                {"check": "fuse-output-voltage", "value": 12.4, "unit": "V"},
            ],
        },
        id="two-faults",
    ),
    pytest.param(
        {
            "machine": {
                "duty": "brake-release", "control": "controller-on-request", "coil": "unknown",
            },
            "findings": [
                {"check": "hold-winding-ohms", "outcome": "open", "side": "left"},
                {"check": "pull-winding-ohms", "outcome": "open", "side": "right"},
            ],
        },
        id="two-sides",
    ),
    pytest.param(
        {
            "machine": {"duty": "fuel-shutoff", "control": "unknown", "coil": "unknown"},
            "findings": [{"check": "fuel-control", "outcome": "electronic"}],
        },
        id="not-covered",
    ),
]  # fmt: skip

# The published contract, field by field; deliberately not read from the code.
ANSWER = ["knowledge_version", "causes", "set_aside", "proofs", "fit", "next_checks", "cautions",
          "scope"]  # fmt: skip
CAUSE = ["id", "name", "probability", "group", "evidence", "remedy", "proof_of_repair",
         "look_behind", "cautions"]  # fmt: skip
EVIDENCE = ["finding", "check", "direction", "weight_db", "observed", "expected_if_cause",
            "expected_if_healthy", "because", "basis"]  # fmt: skip
NEXT = ["check", "how", "kind", "minutes", "saves_minutes", "expect", "cautions"]


def each_has(rows: list[dict[str, Any]], fields: list[str]) -> None:
    """Check that every row has every field."""
    for row in rows:
        assert set(fields) <= set(row), set(fields) - set(row)


@pytest.mark.parametrize("request_", REQUESTS)
def test_answer_is_as_the_contract_says(
    post: Callable[..., Any], request_: dict[str, Any], told: Callable[..., Draft202012Validator]
) -> None:
    """Every field that the contract names is there, at every depth; /openapi.json knows every field
    that is sent, and its kind. Probabilities sum to 1 over all causes, fall from first to last, and
    places exist."""
    told("Answer").validate(post(request_).json)
    answer = post(request_ | {"limit": 0}).json
    each_has([answer], ANSWER)
    each_has(answer["causes"], CAUSE)
    each_has([row for cause in answer["causes"] for row in cause["evidence"]], EVIDENCE)
    each_has(
        [row for cause in answer["causes"] for row in cause["look_behind"]], ["cause", "because"]
    )
    each_has(answer["set_aside"], ["finding", "rule", "because", "instead"])
    each_has(answer["proofs"], ["rule", "says", "from", "clears"])
    each_has([answer["fit"]], ["verdict", "disagreeing"])
    each_has(answer["next_checks"], NEXT)
    each_has(
        [row for check in answer["next_checks"] for row in check["expect"]], ["cause", "reads"]
    )
    each_has(answer["cautions"], ["id", "text"])
    each_has([answer["scope"]], ["covered", "because"])
    beliefs = [cause["probability"] for cause in answer["causes"]]
    if answer["scope"]["covered"]:
        assert math.isclose(sum(beliefs), 1, abs_tol=0.01)
    assert beliefs == sorted(beliefs, reverse=True)
    places = [row["finding"] for cause in answer["causes"] for row in cause["evidence"]]
    places += [row["finding"] for row in answer["set_aside"]]
    places += [place for proof in answer["proofs"] for place in proof["from"]]
    assert all(0 <= place < len(request_["findings"]) for place in places)


def test_limit(post: Callable[..., Any], case: dict[str, Any]) -> None:
    """At most 'limit' causes come: five when left out, all for 0."""
    counts = {limit: len(post(case | {"limit": limit}).json["causes"]) for limit in (1, 3, 5, 0)}
    assert (counts[1], counts[3], counts[5]) == (1, 3, 5)
    assert counts[0] > 10
    assert len(post({k: v for k, v in case.items() if k != "limit"}).json["causes"]) == 5


def test_on_hand_limits_the_next_checks_alone(
    post: Callable[..., Any], case: dict[str, Any]
) -> None:
    """What is on hand limits what is offered next, not what is believed."""
    few = {"findings": case["findings"][:1]}
    asked = post(case | few | {"on_hand": ["ask", "look"]}).json
    free = post({k: v for k, v in (case | few).items() if k != "on_hand"}).json
    assert {check["kind"] for check in asked["next_checks"]} <= {"ask", "look"}
    assert asked["causes"] == free["causes"]


def test_only_duty_control_and_coil_are_needed(post: Callable[..., Any]) -> None:
    """A request with nothing but the three machine facts is answered with a first check."""
    machine = {"duty": "brake-release", "control": "ignition-timed", "coil": "unknown"}
    answer = post({"machine": machine, "findings": []}).json
    assert answer["next_checks"]
    assert answer["scope"]["covered"] is True


@pytest.mark.parametrize(
    "finding",
    [
        {"check": "pull-current", "value": 3100, "unit": "mA"},
        {"check": "pull-winding-ohms", "value": 0.0005, "unit": "kohm", "measured_to": "body"},
        {"check": "pull-pin-voltage", "value": 11400, "unit": "mV"},
        {"check": "plunger-action", "outcome": "not-known"},
        {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "body"},
        {"check": "pull-current", "value": 3.1, "unit": "A",
         "meter": {"percent": 2.0, "counts": 3, "resolution": 0.1}},
    ],
)  # fmt: skip
def test_ways_to_tell_a_finding(
    post: Callable[..., Any], case: dict[str, Any], finding: dict[str, Any]
) -> None:
    """Prefixed units, not-known, open and the meter's own accuracy are all taken."""
    assert post(case | {"findings": [finding]}).status_code == 200
