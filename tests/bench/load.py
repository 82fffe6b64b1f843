"""Load on the service over loopback, with wrk: ``python -m tests.bench.load``.

One machine asked again and again is warm; distinct ones, each asked once, are cold. ``--before
TREE`` measures a checkout of another commit in the same run. Measured, never asserted. wrk (Debian)
sends what the Lua script below says; server and generator share the machine's cores, so the figures
are those of the whole.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from tests.bench.cases import EIGHT
from tests.databases import Server
from tests.databases import server as postgresql_server
from tests.serving import ROOT, Running

CLIENTS = (1, 8, 64)
ONE = next(iter(EIGHT.values()))

DIAGNOSE = """
local bodies = {%s}
local count = 0
setup = function(thread)
  thread:set("n", count * math.floor(#bodies / 2))
  count = count + 1
end
request = function()
  n = n + 1
  return wrk.format("POST", "/v1/diagnoses", {["Content-Type"] = "application/json"},
    bodies[n %% #bodies + 1])
end
"""
OPEN_CASE = """
request = function()
  return wrk.format("POST", "/v1/cases", {["Content-Type"] = "application/json"}, [==[%s]==])
end
"""
TAIL = """
done = function(summary, latency, requests)
  local e = summary.errors
  io.write(string.format("FIGURES %%d %%d %%d %%d %%d\\n", summary.requests, summary.duration,
    latency:percentile(50), latency:percentile(99), e.status + e.connect + e.read + e.timeout))
end
""".replace("%%", "%")


def wrk(url: str, script: str, clients: int, seconds: int) -> dict[str, float]:
    """Return requests a second, 50th and 99th percentile in ms, and how many went wrong."""
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as file:
        file.write(script + TAIL)
        file.flush()
        command = ["wrk", f"-c{clients}", f"-t{min(2, clients)}", f"-d{seconds}s", "--timeout=30s",
                   "-s", file.name, url]  # fmt: skip
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    found = re.search(r"FIGURES (\d+) (\d+) (\d+) (\d+) (\d+)", done.stdout)
    if found is None:
        raise RuntimeError(done.stdout + done.stderr)
    count, micros, half, most, wrong = map(int, found.groups())
    return {"a_second": count / (micros / 1e6), "ms_50": half / 1000, "ms_99": most / 1000,
            "wrong": wrong}  # fmt: skip


def _diagnoses(requests: Iterable[object]) -> str:
    return DIAGNOSE % ", ".join(f"[==[{json.dumps(one)}]==]" for one in requests)


def _machines(first: int) -> Iterator[dict[str, Any]]:
    """Give a thousand requests about machines that nobody has asked of, from number ``first``."""
    for number in range(first, first + 1000):
        own = {"pull_ohms": round(0.25 + number % 1000 * 1e-4, 4), "hold_ohms": 15 + number // 1000}
        yield ONE | {"machine": ONE["machine"] | own}


def open_case() -> str:
    """Return the script that opens cases."""
    case = {"fleet_number": "42", "machine_type": "site dumper",
            "complaint": "cranks, does not start", "machine": ONE["machine"],
            "findings": ONE["findings"][:2]}  # fmt: skip
    return OPEN_CASE % json.dumps(case)


@contextmanager
def serving(
    url: str, folder: Path, workers: int, threads: int, tree: Path = ROOT
) -> Iterator[Running]:
    """Run the service of a checkout on a store, warm."""
    environment = {
        "THREEWIRE_DATABASE": url, "THREEWIRE_RATE_PER_MINUTE": "1000000", "PYTHONPATH": str(tree),
    }  # fmt: skip
    command = [sys.executable, "-m", "api", "db", "upgrade"]
    subprocess.run(command, cwd=tree, env=os.environ | environment, check=True, capture_output=True)
    running = Running(folder, "--workers", str(workers), "--threads", str(threads),
                      environment=environment, anew=True)  # fmt: skip
    try:
        running.wait_ready()
        for _ in range(10 * workers):
            running.ask("POST", "/v1/diagnoses", ONE).raise_for_status()
        yield running
    finally:
        running.kill()  # what is under way at the end is nobody's


def memory_mib(running: Running) -> list[float]:
    """Return the resident memory of each worker in MiB."""
    found = []
    for pid in running.workers():
        status = Path(f"/proc/{pid}/status").read_text()
        match = re.search(r"VmRSS:\s+(\d+)", status)
        found.append(int(match.group(1)) / 1024 if match else 0.0)
    return found


@contextmanager
def urls(kinds: tuple[str, ...], folder: Path) -> Iterator[dict[str, str]]:
    """Give an empty store of each kind."""
    with postgresql_server() as server:
        assert server is None or isinstance(server, Server)
        found = {"sqlite": f"sqlite:///{folder}/store/cases.sqlite3"}
        if server is not None:
            found["postgresql"] = server.new_database()
        yield {kind: url for kind, url in found.items() if kind in kinds}


@click.command()
@click.option("--seconds", default=15, show_default=True, help="Of each measurement.")
@click.option("--workers", default=2, show_default=True)
@click.option("--threads", default=4, show_default=True)
@click.option("--soak", default=0, show_default=True, help="Minutes at half load afterwards.")
@click.option(
    "--before", type=click.Path(path_type=Path, exists=True), metavar="TREE",
    help="A checkout of another commit, measured too.",
)  # fmt: skip
@click.option("--json", "as_json", type=click.Path(path_type=Path), help="Write the figures.")
def main(  # noqa: PLR0917 - click gives its options so
    seconds: int, workers: int, threads: int, soak: int, before: Path | None, as_json: Path | None
) -> None:
    """Measure diagnoses and case writes a second, and whether a long run drifts."""
    if shutil.which("wrk") is None:
        raise click.UsageError("wrk is missing; Debian has it as the package wrk")
    figures: dict[str, Any] = {"workers": workers, "threads": threads, "seconds": seconds}
    with tempfile.TemporaryDirectory() as name, urls(("sqlite", "postgresql"), Path(name)) as found:
        if before is not None:
            url = f"sqlite:///{name}/before.sqlite3"
            with serving(url, Path(name) / "before", workers, threads, before.resolve()) as running:
                figures["before"] = _both(running, seconds)
        for kind, url in found.items():
            with serving(url, Path(name) / kind, workers, threads) as running:
                if kind == "sqlite":
                    figures["now"] = _both(running, seconds)
                figures[f"case writes, {kind}"] = _table(running, open_case(), (1, 8), seconds)
                if soak and kind == "sqlite":
                    figures["soak"] = _soak(running, figures["now"]["one machine"], soak)
    if as_json:
        as_json.write_text(json.dumps(figures, indent=1) + "\n")


def _both(running: Running, seconds: int) -> dict[str, Any]:
    """Return the figures for one machine, warm, and for machines that are each asked once."""
    warm = _table(running, _diagnoses([ONE]), CLIENTS, seconds)
    cold = {}
    for number, count in enumerate(CLIENTS):
        cold |= _table(running, _diagnoses(_machines(1000 * number)), (count,), seconds)
    return {"one machine": warm, "distinct machines": cold}


def _table(
    running: Running, script: str, clients: tuple[int, ...], seconds: int
) -> dict[str, dict[str, float]]:
    rows = {}
    for count in clients:
        row = wrk(running.url, script, count, seconds)
        rows[str(count)] = row
        click.echo(f"{count:>3} clients: " + ", ".join(f"{k} {v:.1f}" for k, v in row.items()))
    return rows


def _soak(running: Running, before: dict[str, Any], minutes: int) -> list[dict[str, Any]]:
    """Ask at half the rate that 8 clients reached, and note each minute's latency and memory."""
    pause = 2 / before["8"]["a_second"]
    bodies = [json.dumps(one).encode() for one in EIGHT.values()]
    rows: list[dict[str, Any]] = []
    for minute in range(minutes):
        end, times, count = time.monotonic() + 60, [], 0
        while (start := time.monotonic()) < end:
            response = running.session.post(
                running.url + "/v1/diagnoses", data=bodies[count % len(bodies)],
                headers={"Content-Type": "application/json"}, timeout=30,
            )  # fmt: skip
            response.raise_for_status()
            count += 1
            times.append(time.monotonic() - start)
            time.sleep(max(0.0, pause - (time.monotonic() - start)))
        times.sort()
        row = {"minute": minute + 1, "a_second": count / 60, "ms_50": times[count // 2] * 1000,
               "ms_99": times[int(count * 0.99)] * 1000, "mib": memory_mib(running)}  # fmt: skip
        rows.append(row)
        if minute % 5 == 4 or minute == 0:
            click.echo(json.dumps(row))
    return rows


if __name__ == "__main__":
    main()
