"""Lines a second and memory of a long batch: ``python -m tests.bench.batch [--lines N] [--easy]``.

Runs the command with one and two jobs and the HTTP batch with one worker, over the demo requests
one after the other (``--easy``: the same machines before anything was found, next checks left out,
about a third of the work). Memory is the resident size of every process of the run, added up, when
a tenth of the answers were there and at the end: flat means that the two are about the same.
"""

import argparse
import itertools
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

import psutil

from api.answers import demos
from tests.answers.batch.duplex import exchange
from tests.serving import ROOT, Running


def requests(number: int, easy: bool) -> Iterator[bytes]:
    """Yield so many requests, one a line."""
    found = [case.request for case in demos.load_all()]
    if easy:
        found = [one | {"findings": [], "on_hand": []} for one in found]
    lines = [json.dumps(one).encode() + b"\n" for one in found]
    yield from itertools.islice(itertools.cycle(lines), number)


def resident(pid: int) -> float:
    """Return the resident memory of a process and all below it, in MiB."""
    total = 0
    with suppress(psutil.NoSuchProcess):
        top = psutil.Process(pid)
        for one in [top, *top.children(recursive=True)]:
            with suppress(psutil.NoSuchProcess):
                total += one.memory_info().rss
    return total / 2**20


def measured(name: str, pid: int, answers: Iterable[bytes], number: int) -> None:
    """Take the answers and print how fast they came and what memory it took."""
    marks, started, count = {}, time.perf_counter(), 0
    for count, _ in enumerate(answers, start=1):
        if count in (max(1, number // 10), number // 2, number):
            marks[count] = resident(pid)
    seconds = time.perf_counter() - started
    memory = ", ".join(f"{size:.0f} MiB at {mark:,}" for mark, size in marks.items())
    print(f"{name}: {count:,} lines in {seconds:.1f} s, {count / seconds:.0f} a second; {memory}")


def command(file: Path, jobs: int, number: int) -> None:
    """Measure ``threewire diagnose --ndjson``; its start counts too."""
    line = [sys.executable, "-m", "api", "diagnose", "--ndjson", "--jobs", str(jobs), str(file)]
    with subprocess.Popen(line, stdout=subprocess.PIPE, cwd=ROOT) as process:
        assert process.stdout is not None
        measured(f"command, {jobs} jobs", process.pid, process.stdout, number)


def over_http(number: int, easy: bool, home: Path) -> None:
    """Measure the HTTP batch, sent while its answers are read."""
    server = Running(home, anew=True)
    try:
        server.wait_ready()
        _, answers = exchange(server.port, requests(number, easy))
        measured("HTTP, one worker", server.process.pid, answers, number)
    finally:
        server.stop()


def main() -> None:
    """Measure all three."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--lines", type=int, default=2000)
    parser.add_argument("--easy", action="store_true")
    parser.add_argument("--only", choices=("1", "2", "http"))
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "requests.ndjson"
        with file.open("wb") as out:
            out.writelines(requests(chosen.lines, chosen.easy))
        for jobs in (1, 2):
            if chosen.only in (None, str(jobs)):
                command(file, jobs, chosen.lines)
        if chosen.only in (None, "http"):
            over_http(chosen.lines, chosen.easy, Path(folder) / "home")


if __name__ == "__main__":
    main()
