"""Load on the service over loopback, with wrk: ``python -m tests.bench.load``.

Measured, never asserted. wrk (Debian) sends what the Lua script below says; server and generator
share the machine's cores, so the figures are those of the whole.
"""

import json
import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from tests.bench.cases import EIGHT
from tests.databases import Server, set_up
from tests.databases import server as postgresql_server
from tests.serving import Running

DIAGNOSE = """
local bodies = {%s}
local n = 0
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


def _diagnoses() -> str:
    return DIAGNOSE % ", ".join(f"[==[{json.dumps(one)}]==]" for one in EIGHT.values())


def _case() -> str:
    request = next(iter(EIGHT.values()))
    case = {"fleet_number": "42", "machine_type": "site dumper",
            "complaint": "cranks, does not start", "machine": request["machine"],
            "findings": request["findings"][:2]}  # fmt: skip
    return OPEN_CASE % json.dumps(case)


@contextmanager
def serving(url: str, folder: Path, workers: int, threads: int) -> Iterator[Running]:
    """Run the service on a store, warm."""
    database = set_up(url)
    database.close()
    environment = {"THREEWIRE_DATABASE": url, "THREEWIRE_RATE_PER_MINUTE": "1000000"}
    running = Running(folder, "--workers", str(workers), "--threads", str(threads),
                      environment=environment)  # fmt: skip
    try:
        running.wait_ready()
        for _ in range(10 * workers):
            for one in EIGHT.values():
                running.ask("POST", "/v1/diagnoses", one).raise_for_status()
        yield running
    finally:
        running.stop()


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
@click.option("--json", "as_json", type=click.Path(path_type=Path), help="Write the figures.")
def main(seconds: int, workers: int, threads: int, soak: int, as_json: Path | None) -> None:
    """Measure diagnoses and case writes a second, and whether a long run drifts."""
    if shutil.which("wrk") is None:
        raise click.UsageError("wrk is missing; Debian has it as the package wrk")
    figures: dict[str, Any] = {"workers": workers, "threads": threads, "seconds": seconds}
    with tempfile.TemporaryDirectory() as name, urls(("sqlite", "postgresql"), Path(name)) as found:
        for kind, url in found.items():
            with serving(url, Path(name) / kind, workers, threads) as running:
                if kind == "sqlite":
                    figures["diagnoses"] = _table(running, _diagnoses(), (1, 8, 64), seconds)
                figures[f"case writes, {kind}"] = _table(running, _case(), (1, 8), seconds)
                if soak and kind == "sqlite":
                    figures["soak"] = _soak(running, figures["diagnoses"], soak)
    if as_json:
        as_json.write_text(json.dumps(figures, indent=1) + "\n")


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
