"""How long things take. Nothing here asserts a time; README says how to repeat and read it.

The file is not named like a test, so the test command passes it by; name it to run it.
"""

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import engine
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


def figures_of(tree: Path, unknown: int) -> dict[str, Any]:
    """Return the figures of a tree, measured in a process of its own."""
    asked = {"request": EIGHT["fuel, controller"], "readings": longer(40), "unknown": unknown}
    done = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("speed_figures.py"))],
        input=json.dumps(asked), capture_output=True, text=True, check=True, cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def figure_words(figure: Any) -> str:
    """Return a figure as it stands in the table: median (99th percentile) in ms, or a number."""
    if isinstance(figure, dict):
        return f"{figure['median']:.0f} ({figure['p99']:.0f}) ms of {figure['runs']}"
    return f"{figure:.1f}"


def main() -> None:
    """Print how long things take, beside another tree (``--before DIR``) in the same run."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--before", type=Path, help="a checkout of an earlier commit")
    parser.add_argument("--unknown", type=int, default=60, help="machines with both unknown")
    given = parser.parse_args()
    trees = [given.before] if given.before else []
    columns = [figures_of(tree.resolve(), given.unknown) for tree in (*trees, Path.cwd())]
    print(
        "| CPU time: median (99th percentile) | " + " | ".join(["before", "now"][-len(columns) :])
    )
    for name in columns[-1]:
        print(f"| {name} | " + " | ".join(figure_words(one[name]) for one in columns) + " |")


if __name__ == "__main__":
    main()
