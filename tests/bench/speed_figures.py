"""What a diagnosis takes, of whatever tree stands first on the path: one JSON object.

Run as a file with PYTHONPATH set to a tree, so that two commits can be measured by the same code;
it uses nothing but ``Diagnoser`` and ``load_knowledge``. Times are CPU milliseconds of the process:
what else runs on the machine moves them less than a clock.
"""

import json
import pathlib
import sys
import time
from collections.abc import Iterator
from typing import Any

from engine import Diagnoser, load_knowledge

UNKNOWN = {"control": "unknown", "coil": "unknown"}


def timed(diagnoser: Diagnoser, request: dict[str, Any]) -> float:
    """Return the CPU milliseconds of one diagnosis."""
    start = time.process_time()
    diagnoser.diagnose(request)
    return (time.process_time() - start) * 1000


def shown(times: list[float]) -> dict[str, float]:
    """Return median and 99th percentile."""
    ordered = sorted(times)
    at = min(len(ordered) - 1, round(0.99 * len(ordered)))
    return {"median": ordered[len(ordered) // 2], "p99": ordered[at], "runs": len(ordered)}


def machines(request: dict[str, Any], count: int, **machine: Any) -> Iterator[dict[str, Any]]:
    """Yield the request on machines of which each is new: the pull winding differs."""
    for number in range(count):
        ohms = {"pull_ohms": round(0.3 + 0.001 * number, 4)}
        yield {**request, "machine": {**request["machine"], **machine, **ohms}}


def memory() -> float:
    """Return the resident memory of this process in MiB."""
    status = pathlib.Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return next(int(one.split()[1]) / 1024 for one in status if one.startswith("VmRSS"))


def figures(request: dict[str, Any], readings: dict[str, Any], unknown: int) -> dict[str, Any]:
    """Return every figure of this tree; ``unknown`` machines are kept for the memory."""
    diagnoser = Diagnoser(load_knowledge())
    both = {**request, "machine": {**request["machine"], **UNKNOWN}}
    for one in (request, both, readings):
        diagnoser.diagnose(one)
    found: dict[str, Any] = {
        "warm": shown([timed(diagnoser, request) for _ in range(100)]),
        "warm, control and coil unknown": shown([timed(diagnoser, both) for _ in range(30)]),
        "40 readings, warm": shown([timed(diagnoser, readings) for _ in range(30)]),
        "new machine": shown([timed(diagnoser, one) for one in machines(request, 40)]),
    }
    start, lines = time.process_time(), list(machines(request, 100, system_volts=24))
    for one in lines:
        diagnoser.diagnose(one)
    found["new machines a second"] = len(lines) / (time.process_time() - start)
    found["new machine, control and coil unknown"] = shown(
        [timed(diagnoser, one) for one in machines(request, unknown, **UNKNOWN)]
    )
    found["MiB after them"] = memory()
    return found


if __name__ == "__main__":
    asked = json.loads(sys.stdin.read())
    print(json.dumps(figures(asked["request"], asked["readings"], asked["unknown"])))
