"""Proofs agree with the model; burned and blown parts name what to look behind."""

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from engine import Diagnoser

CASES = Path(__file__).parents[1] / "cases"
RULES = sorted(
    path.stem
    for path in (CASES / "rules").glob("*.yaml")
    if (Path(__file__).parents[2] / "kb/rules/proofs" / path.name).exists()
)
DRAWS = 3  # of each case, the first as it stands
BURNED = (
    "pull-winding-open", "pull-winding-shorted", "hold-winding-open", "hold-winding-shorted",
    "winding-shorted-to-body", "fuse-open", "relay-contacts-welded", "relay-contacts-open",
    "hold-output-dead", "pull-output-dead",
)  # fmt: skip


def jittered(request: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Return the request with its readings moved by a few percent."""
    moved = copy.deepcopy(request)
    for finding in moved["findings"]:
        if isinstance(finding.get("value"), (int, float)):
            finding["value"] = round(float(finding["value"] * rng.normal(1.0, 0.02)), 4)
    return {**moved, "limit": 0}


@pytest.mark.parametrize("name", RULES)
@pytest.mark.slow
def test_what_a_proof_clears_is_below_one_percent(
    name: str, diagnoser: Diagnoser, enlarged: Callable[[int], int]
) -> None:
    """On the facts that fire a proof, over random values, each cleared cause is below 1 %."""
    rng = np.random.default_rng(sum(name.encode()))
    case = yaml.safe_load((CASES / "rules" / f"{name}.yaml").read_text(encoding="utf-8"))
    clears = [
        cause
        for action in diagnoser.knowledge.programs[name].actions
        if action.kind == "clears"
        for cause in action.about
    ]
    fired = 0
    for one in case["fires"]:
        for draw in range(enlarged(DRAWS)):
            request = {**one["request"], "limit": 0} if draw == 0 else jittered(one["request"], rng)
            answer = diagnoser.diagnose(request)
            if name not in {step["rule"] for step in answer["trace"]}:
                continue
            fired += 1
            belief = {cause["id"]: cause["probability"] for cause in answer["causes"]}
            high = {c: belief[c] for c in clears if belief.get(c, 0.0) >= 0.01}
            assert not high, request["findings"]
    assert fired


def worked(cause: str) -> list[dict[str, Any]]:
    """Return the requests of the worked cases that a cause leads."""
    found = [yaml.safe_load(path.read_text(encoding="utf-8"))
             for path in sorted((CASES / "worked").glob("*.yaml"))]  # fmt: skip
    return [one["request"] for one in found if one["expect"]["lead"] == cause]


@pytest.mark.parametrize("cause", BURNED)
def test_a_burned_part_names_a_root_and_the_check_before_replacing(
    cause: str, diagnoser: Diagnoser
) -> None:
    """Each burned or blown part names at least one root, and a check to do before it is fitted."""
    requests = worked(cause)
    assert requests
    for request in requests:
        answer = diagnoser.diagnose(request)
        part = next(one for one in answer["causes"] if one["id"] == cause)
        assert part["look_behind"], request
        assert all(root["because"] for root in part["look_behind"])
        assert part["before_replacing"], request


def test_no_leader_is_proved_good(diagnoser: Diagnoser) -> None:
    """In no worked case and no case of a proof does a rule clear what leads, and the sentence of a
    proof that would is not printed either."""
    worked = [yaml.safe_load(path.read_text()) for path in (CASES / "worked").glob("*.yaml")]
    requests = [one["request"] for one in worked]
    for name in RULES:
        file = yaml.safe_load((CASES / "rules" / f"{name}.yaml").read_text())
        requests += [one["request"] for one in (*file["fires"], *file["silent"])]
    for request in requests:
        answer = diagnoser.diagnose(request)
        leader = answer["causes"][0]["id"]
        for proof in answer["proofs"]:
            program = diagnoser.knowledge.programs[proof["rule"]]
            named = [
                cause for act in program.actions if act.kind == "clears" for cause in act.about
            ]
            assert leader not in named, (proof, request)
