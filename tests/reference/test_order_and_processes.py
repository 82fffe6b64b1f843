"""The same answer whatever the order of the findings, the process, the hash seed or the thread."""

import json
import os
import random
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

from engine import Diagnoser, Knowledge
from engine.reasoning.belief import Belief, log_prior, weigh
from engine.reasoning.observe import observe
from engine.reasoning.request import read_request
from tests.reference import draws
from tests.sweeps import swept

ROOT = Path(__file__).parents[2]
WORKED = sorted((ROOT / "tests" / "cases" / "worked").glob("*.yaml"))
SAME = 1e-12
CASES = 4
PROGRAM = """
import json, sys
from engine import diagnose
for line in sys.stdin:
    print(json.dumps(diagnose(json.loads(line))))
"""

Answer = dict[str, Any]
Figure = Callable[[str], None]
Sized = Callable[[int], int]


@pytest.fixture(scope="module")
def requests(enlarged: Sized) -> list[dict[str, Any]]:
    """Give the requests of worked cases with several findings, the longest first."""
    cases = [yaml.load(path.read_text("utf-8"), yaml.CSafeLoader)["request"] for path in WORKED]
    cases.sort(key=lambda one: -len(one["findings"]))
    chosen = swept(cases[: enlarged(CASES)], 2)
    assert len(chosen) >= CASES // 2
    assert all(len(one["findings"]) >= 2 for one in chosen)
    return chosen


def renumbered(answer: Any, numbers: list[int]) -> Any:
    """Return an answer with every finding's number replaced, lists of them sorted."""
    if isinstance(answer, list):
        return [renumbered(one, numbers) for one in answer]
    if not isinstance(answer, Mapping):
        return answer
    found = {key: renumbered(value, numbers) for key, value in answer.items()}
    if isinstance(found.get("finding"), int):
        found["finding"] = numbers[found["finding"]]
    for key in ("from", "findings", "disagreeing", "repeat"):
        if isinstance(found.get(key), list) and all(isinstance(n, int) for n in found[key]):
            found[key] = sorted(numbers[n] for n in found[key])
    return found


def unordered(answer: Any) -> Any:
    """Return an answer whose lists are sorted, for comparing what is in them."""
    if isinstance(answer, list):
        return sorted((unordered(one) for one in answer), key=json.dumps)
    if isinstance(answer, Mapping):
        return {key: unordered(value) for key, value in answer.items()}
    return answer


def shuffled(rng: random.Random, request: Answer) -> tuple[Answer, list[int]]:
    """Return a request with its findings in another order, and their old numbers."""
    numbers = list(range(len(request["findings"])))
    rng.shuffle(numbers)
    return {**request, "findings": [request["findings"][n] for n in numbers]}, numbers


def assert_same_in_any_order(diagnoser: Diagnoser, request: Answer, rng: random.Random) -> None:
    """Fail where the answer to shuffled findings differs in more than their numbers."""
    other, numbers = shuffled(rng, request)
    findings = request["findings"]
    plain = [findings.index(one) for one in findings]  # of two that are equal either will do
    numbers = [plain[one] for one in numbers]
    first = renumbered(diagnoser.diagnose({**request, "limit": 0}), plain)
    second = renumbered(diagnoser.diagnose({**other, "limit": 0}), numbers)
    for key, name in (("causes", "id"), ("trace", "rule"), ("next_checks", "check")):
        assert [one[name] for one in first[key]] == [one[name] for one in second[key]], request
    again = unordered(second)
    for key, said in unordered(first).items():
        assert said == again[key], f"{key} of {request}"


def test_worked_cases_in_any_order(
    diagnoser: Diagnoser, requests: list[Answer], figure: Figure
) -> None:
    """The answer to shuffled findings is the same in every word, but for their numbers."""
    rng = draws.generator(21)
    for request in requests:
        assert_same_in_any_order(diagnoser, request, rng)
    figure(f"{len(requests)} answers, the same in every word with the findings shuffled")


def test_contradictory_findings_in_any_order(
    knowledge: Knowledge, diagnoser: Diagnoser, enlarged: Sized, figure: Figure
) -> None:
    """Findings that no single cause explains get the same answer in any order too."""
    rng = draws.generator(23)
    machine = draws.machine(rng, draws.MACHINE_KINDS[5])
    model, poor = diagnoser.models.get(machine), 0
    for _ in range(enlarged(3)):
        stated = draws.findings(rng, knowledge, model, rng.randrange(6, 13))
        request = {"machine": draws.as_request(machine), "findings": stated}
        poor += diagnoser.diagnose(request)["fit"]["verdict"] == "poor"
        assert_same_in_any_order(diagnoser, request, rng)
    assert poor >= enlarged(1)
    figure(f"{enlarged(3)} sets of random findings, {poor} without a single cause that fits")


def test_probabilities_in_any_order(
    knowledge: Knowledge, diagnoser: Diagnoser, enlarged: Sized, figure: Figure
) -> None:
    """Probabilities and decibans do not depend on the order of the findings, to 1e-12."""
    rng = draws.generator(22)
    worst = worst_decibans = 0.0
    machines = [draws.machine(rng, kind) for kind in rng.sample(draws.MACHINE_KINDS, 2)]
    count = enlarged(30)
    for _ in range(count):
        model = diagnoser.models.get(rng.choice(machines))
        stated = draws.findings(rng, knowledge, model, rng.randrange(2, 13))
        raw = {"machine": draws.as_request(model.machine), "findings": stated}
        found = [observe(model, one) for one in read_request(raw, knowledge).findings]
        weighed = [weigh(one) for one in found]
        shares = [rng.choice([1.0, 0.3]) for _ in found]
        pairs, order = list(zip(weighed, shares, strict=True)), list(range(len(found)))
        first = Belief(model, log_prior(model, {}), *zip(*pairs, strict=True))
        for _ in range(2):
            rng.shuffle(order)
            again = [pairs[place] for place in order]
            other = Belief(model, log_prior(model, {}), *zip(*again, strict=True))
            apart = float(abs(other.causes - first.causes).max())
            decibans = float(abs(other.decibans - first.decibans[order]).max())
            worst, worst_decibans = max(worst, apart), max(worst_decibans, decibans)
            assert apart <= SAME
            assert decibans <= SAME
    figure(f"{count} sets of findings, each in three orders: probabilities {worst:.1e} apart, "
           f"decibans {worst_decibans:.1e}")  # fmt: skip


def _in_a_process(lines: str, seed: str) -> str:
    """Return the answers of a fresh process with a hash seed of its own."""
    environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], input=lines, capture_output=True, text=True, check=False,
        cwd=ROOT, env=environment, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_fresh_processes_answer_byte_for_byte(requests: list[Answer], figure: Figure) -> None:
    """Two fresh processes with different hash seeds write the same bytes."""
    lines = "".join(json.dumps(one) + "\n" for one in requests)
    first, second = (_in_a_process(lines, seed) for seed in ("1", "4242"))
    assert len(first.splitlines()) == len(requests)
    assert first == second
    figure(f"{len(first)} bytes of {len(requests)} answers, equal from two processes")


def test_threads_answer_byte_for_byte(
    diagnoser: Diagnoser, requests: list[Answer], figure: Figure
) -> None:
    """Two threads that share a fresh diagnoser, models not yet built, write what one writes."""
    asked = [*requests[::2], *requests[::2]]
    alone = [json.dumps(diagnoser.diagnose(one)) for one in requests[::2]] * 2
    fresh = Diagnoser(diagnoser.knowledge)
    found: dict[str, list[str]] = {}

    def work(name: str, order: list[Answer]) -> None:
        found[name] = [json.dumps(fresh.diagnose(one)) for one in order]

    threads = [
        threading.Thread(target=work, args=("forward", asked)),
        threading.Thread(target=work, args=("backward", asked[::-1])),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found["forward"] == alone
    assert found["backward"] == alone[::-1]
    figure(f"{len(asked)} answers, equal from two threads at once")
