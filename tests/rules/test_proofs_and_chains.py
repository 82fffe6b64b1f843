"""Proofs agree with the model; burned and blown parts name what to look behind."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine import Diagnoser
from engine.knowledge.text import load_yaml
from engine.reasoning.conclusions import Conclusions
from engine.reasoning.request import read_request
from tests.sweeps import swept

CASES = Path(__file__).parents[1] / "cases"
RULES = sorted(
    path.stem
    for path in (CASES / "rules").glob("*.yaml")
    if (Path(__file__).parents[2] / "kb/rules/proofs" / path.name).exists()
)
DRAWS = 2  # of each case, the first as it stands
BURNED = (
    "pull-winding-open", "pull-winding-shorted", "hold-winding-open", "hold-winding-shorted",
    "winding-shorted-to-body", "fuse-open", "relay-contacts-welded", "relay-contacts-open",
    "hold-output-dead", "pull-output-dead",
)  # fmt: skip


def read(folder: str, name: str = "*") -> list[dict[str, Any]]:
    """Return the case files of a folder, or the one of a name."""
    files = sorted((CASES / folder).glob(f"{name}.yaml"))
    return [load_yaml(path.read_text(encoding="utf-8"), path.name) for path in files]


KEPT: dict[str, Conclusions] = {}  # the same cases are asked about twice


def concluded(diagnoser: Diagnoser, request: dict[str, Any]) -> Conclusions:
    """Return what the rules conclude, of the side that is named first."""
    asked = json.dumps(request)
    if asked not in KEPT:
        KEPT[asked] = diagnoser.conclusions(read_request(request, diagnoser.knowledge))[0]
    return KEPT[asked]


def cleared(diagnoser: Diagnoser, rule: str) -> list[str]:
    """Return the causes that a rule clears."""
    actions = diagnoser.knowledge.programs[rule].actions
    return [cause for one in actions if one.kind == "clears" for cause in one.about]


def jittered(request: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Return the request with its readings moved by a few percent."""
    moved = copy.deepcopy(request)
    for finding in moved["findings"]:
        if isinstance(finding.get("value"), (int, float)):
            finding["value"] = round(float(finding["value"] * rng.normal(1.0, 0.02)), 4)
    return moved


@pytest.mark.parametrize("name", swept(RULES, 6))
@pytest.mark.slow
def test_what_a_proof_clears_is_below_one_percent(
    name: str, diagnoser: Diagnoser, enlarged: Callable[[int], int]
) -> None:
    """On the facts that fire a proof, over random values, each cleared cause is below 1 %."""
    rng = np.random.default_rng(sum(name.encode()))
    case = read("rules", name)[0]
    clears = cleared(diagnoser, name)
    fired = 0
    for one in case["fires"]:
        for draw in range(enlarged(DRAWS)):
            request = one["request"] if draw == 0 else jittered(one["request"], rng)
            found = concluded(diagnoser, request)
            if name not in {one.rule for one in found.firings}:
                continue
            fired += 1
            belief = found.view.beliefs
            high = {c: belief[c] for c in clears if belief.get(c, 0.0) >= 0.01}
            assert not high, request["findings"]
    assert fired


def worked(cause: str) -> list[dict[str, Any]]:
    """Return the requests of the worked cases that a cause leads."""
    return [one["request"] for one in read("worked") if one["expect"]["lead"] == cause]


@pytest.mark.parametrize("cause", swept(BURNED, 3))
def test_a_burned_part_names_a_root_and_the_check_before_replacing(
    cause: str, diagnoser: Diagnoser
) -> None:
    """Each burned or blown part names at least one root, and a check to do before it is fitted."""
    requests = worked(cause)
    assert requests
    for request in swept(requests, 2):
        answer = diagnoser.diagnose(request)
        burned = next(one for one in answer["causes"] if one["id"] == cause)
        assert burned["look_behind"], request
        assert all(root["because"] for root in burned["look_behind"])
        assert burned["before_replacing"], request


def test_no_leader_is_proved_good(diagnoser: Diagnoser) -> None:
    """In no worked case and no case of a proof does a rule clear what leads, and the sentence of a
    proof that would is not printed either."""
    requests = [one["request"] for one in read("worked")]
    for name in RULES:
        file = read("rules", name)[0]
        requests += [one["request"] for one in (*file["fires"], *file["silent"])]
    for request in swept(requests, 8):
        found = concluded(diagnoser, request)
        leader = max(found.view.beliefs, key=found.view.beliefs.__getitem__)
        for proof in found.proofs:
            assert leader not in cleared(diagnoser, proof.rule), (proof, request)
