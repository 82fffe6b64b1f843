"""How long things take. Nothing here asserts a time; README says how to repeat and read it.

The file is not named like a test, so the test command passes it by; name it to run it.
"""

import json
import subprocess
import sys
import time
from typing import Any

import numpy as np
import pytest

import engine
from engine.diagnosis import Diagnoser
from engine.knowledge import load_knowledge
from engine.physics.machine import Machine
from engine.physics.model import ModelStore
from tests.bench.cases import EIGHT, longer

FIRST_ANSWER = """
import json, sys, time
start = time.perf_counter()
import engine
answer = engine.diagnose(json.loads(sys.argv[1]))
print(time.perf_counter() - start, answer["causes"][0]["id"])
"""
MEMORY = """
import json, sys, pathlib
import engine
for line in json.loads(sys.argv[1]):
    engine.diagnose(line)
status = pathlib.Path("/proc/self/status").read_text()
print([line.split()[1] for line in status.splitlines() if line.startswith(("VmHWM", "VmRSS"))])
"""


@pytest.mark.parametrize("name", EIGHT)
def test_diagnosis_with_eight_findings(benchmark: Any, name: str) -> None:
    """A warm diagnosis with eight findings, next checks included."""
    engine.diagnose(EIGHT[name])
    answer = benchmark.pedantic(engine.diagnose, (EIGHT[name],), rounds=300, warmup_rounds=20)
    times = np.sort(benchmark.stats.stats.data) * 1000
    benchmark.extra_info["ms_50"] = float(np.percentile(times, 50))
    benchmark.extra_info["ms_99"] = float(np.percentile(times, 99))
    assert answer["causes"]


@pytest.mark.parametrize("count", [1, 2, 4, 8, 16, 32, 64, 128, 200])
def test_growth_with_findings(benchmark: Any, count: int) -> None:
    """Time of a warm diagnosis as the findings grow."""
    request = longer(count)
    engine.diagnose(request)
    answer = benchmark.pedantic(engine.diagnose, (request,), rounds=40, warmup_rounds=3)
    assert answer["causes"]


def test_import_load_and_first_answer(benchmark: Any) -> None:
    """A new process from import to its first answer, seconds inside the process."""
    text = json.dumps(EIGHT["fuel, controller"])
    seconds: list[float] = []

    def run() -> None:
        done = subprocess.run(
            [sys.executable, "-c", FIRST_ANSWER, text], capture_output=True, text=True, check=True
        )
        seconds.append(float(done.stdout.split()[0]))

    benchmark.pedantic(run, rounds=5)
    benchmark.extra_info["seconds_inside"] = min(seconds)
    assert len(seconds) == 5


def test_loading_the_knowledge_base(benchmark: Any) -> None:
    """Reading and checking every file of kb/."""
    knowledge = benchmark.pedantic(load_knowledge, rounds=3)
    assert knowledge.rules


def test_building_a_model(benchmark: Any) -> None:
    """Solving all hypotheses of a machine that was not seen before."""
    knowledge = load_knowledge()

    def build() -> Any:
        machine = Machine("fuel-shutoff", "controller-on-crank", "body-ground")
        return ModelStore(knowledge).get(machine)

    model = benchmark.pedantic(build, rounds=10, warmup_rounds=1)
    assert len(model.hypotheses) > 100


def test_memory_of_one_worker(benchmark: Any) -> None:
    """Resident memory of a process after 60 different machines (MiB, peak and last)."""
    lines = [
        {**request, "machine": {**request["machine"], "ambient_celsius": celsius}}
        for request in EIGHT.values()
        for celsius in range(30)
    ]
    shown: list[list[float]] = []

    def run() -> None:
        done = subprocess.run(
            [sys.executable, "-c", MEMORY, json.dumps(lines)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        shown.append([int(kib) / 1024 for kib in json.loads(done.stdout.replace("'", '"'))])

    benchmark.pedantic(run, rounds=1)
    benchmark.extra_info["mib_peak"], benchmark.extra_info["mib_last"] = shown[0]
    assert shown


def main() -> None:
    """Print the figures that README quotes, as one table."""
    started = time.perf_counter()
    diagnoser = Diagnoser(load_knowledge())
    for name, request in EIGHT.items():
        diagnoser.diagnose(request)
        times = []
        for _ in range(500):
            start = time.perf_counter()
            diagnoser.diagnose(request)
            times.append((time.perf_counter() - start) * 1000)
        low, high = np.percentile(times, [50, 99])
        print(f"{name}: median {low:.1f} ms, 99th percentile {high:.1f} ms")
    counts = np.array([1, 4, 16, 64, 200])
    means = []
    for count in counts:
        request = longer(int(count))
        diagnoser.diagnose(request)
        best = []
        for _ in range(30):
            start = time.perf_counter()
            diagnoser.diagnose(request)
            best.append((time.perf_counter() - start) * 1000)
        means.append(float(np.median(best)))
    slope = float(np.polyfit(np.log(counts[1:]), np.log(means[1:]), 1)[0])
    told = ", ".join(f"{c}: {m:.1f}" for c, m in zip(counts, means, strict=True))
    print(f"ms by number of findings: {told}; growth exponent {slope:.2f}")
    print(f"all of this took {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
