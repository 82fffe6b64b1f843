"""``threewire diagnose --ndjson``: the same answers with any number of processes."""

import contextlib
import os
import pty
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import psutil
import pytest

from api.answers.answering import MAX_BYTES
from tests.serving import ROOT

pytestmark = pytest.mark.live  # each test starts the command, some of them its workers
BASE = [sys.executable, "-m", "api", "diagnose", "--ndjson"]


@pytest.fixture
def file(tmp_path: Path, mixed: list[bytes]) -> Path:
    """A file of good and bad lines, more than are read ahead."""
    found = tmp_path / "requests.ndjson"
    found.write_bytes(b"\r\n".join(mixed * 6))
    return found


def run(*arguments: str | Path, **options: Any) -> "subprocess.CompletedProcess[bytes]":
    """Run the command to its end."""
    return subprocess.run(
        [*BASE, *map(str, arguments)], cwd=ROOT, capture_output=True, timeout=120, check=False,
        **options,
    )  # fmt: skip


def test_one_and_two_jobs_give_the_same_bytes(file: Path) -> None:
    """Order, answers, problems and exit status are the same, from a file and from a pipe."""
    one, two = run(file), run("--jobs", "2", file)
    assert one.stdout == two.stdout
    assert (one.returncode, two.returncode) == (1, 1)
    assert one.stderr == two.stderr == b"threewire: 42 of the lines could not be answered\n"
    assert len(one.stdout.splitlines()) == 126
    assert run("--jobs", "2", "-", input=file.read_bytes()).stdout == one.stdout


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_huge_line_costs_only_itself(tmp_path: Path, good: list[bytes], jobs: str) -> None:
    """A line of 20 MiB is answered with 413 in its place."""
    file = tmp_path / "huge.ndjson"
    file.write_bytes(good[0] + b"\n" + b"[" * 20 * MAX_BYTES + b"\n" + good[0])
    found = run("--jobs", jobs, file).stdout.splitlines()
    assert found[0] == found[2]
    assert b'"status":413' in found[1]
    assert b'"line":2' in found[1]


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_nothing_in_nothing_out(tmp_path: Path, jobs: str) -> None:
    """An empty file has no bad line."""
    file = tmp_path / "empty.ndjson"
    file.write_bytes(b"")
    done = run("--jobs", jobs, file)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_reader_that_goes_ends_it(file: Path, jobs: str) -> None:
    """When the pipe is closed after a line, the command ends soon, without a traceback."""
    command = [*BASE, "--jobs", jobs, str(file)]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.wait(60) == 1
        assert b"Traceback" not in process.stderr.read()


def _busy(tmp_path: Path, good: list[bytes]) -> "subprocess.Popen[bytes]":
    """Start two jobs on more lines than anybody waits for, and wait for the first answer."""
    file = tmp_path / "many.ndjson"
    file.write_bytes((good[0] + b"\n") * 20_000)
    process = subprocess.Popen(
        [*BASE, "--jobs", "2", str(file)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    process.stdout.readline()
    return process


def _workers(process: "subprocess.Popen[bytes]") -> list[psutil.Process]:
    found = psutil.Process(process.pid).children(recursive=True)
    return [one for one in found if "spawn_main" in " ".join(one.cmdline())]


def test_a_process_that_is_killed_is_told(tmp_path: Path, good: list[bytes]) -> None:
    """A worker that the system ends gives an error in words and exit status 70, not a hang."""
    with _busy(tmp_path, good) as process:
        os.kill(_workers(process)[0].pid, signal.SIGKILL)
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 70
    assert b"killed, or out of memory" in errors
    assert b"Traceback" not in errors


def test_workers_end_with_their_parent(tmp_path: Path, good: list[bytes]) -> None:
    """When the command itself is killed, no worker is left behind."""
    with _busy(tmp_path, good) as process:
        workers = _workers(process)
        process.kill()
        process.communicate(timeout=60)
    assert len(workers) == 2
    _, alive = psutil.wait_procs(workers, timeout=20)
    assert not alive


def test_interrupt_ends_it_quietly(tmp_path: Path, good: list[bytes]) -> None:
    """Ctrl-C ends command and workers without a traceback."""
    with _busy(tmp_path, good) as process:
        workers = _workers(process)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
    assert process.returncode != 0
    assert b"Traceback" not in errors
    assert not psutil.wait_procs(workers, timeout=20)[1]


def read_all(terminal: int) -> Iterator[bytes]:
    """Yield what is written to a terminal until its other end is closed."""
    with contextlib.suppress(OSError):  # Linux tells the end so
        while piece := os.read(terminal, 65536):
            yield piece


def test_bar_is_on_a_terminal_only(file: Path) -> None:
    """With a terminal for errors there is a bar there, and the answers are the same bytes."""
    plain = run(file)
    master, slave = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "80"}
    pieces: list[bytes] = []
    # read as it comes: a terminal that nobody reads holds a few thousand bytes, then the bar waits
    reader = Thread(target=lambda: pieces.extend(read_all(master)))
    reader.start()
    done = subprocess.run(
        [*BASE, str(file)], cwd=ROOT, stdout=subprocess.PIPE, stderr=slave, timeout=120,
        check=False, env=environment,
    )  # fmt: skip
    os.close(slave)
    reader.join(timeout=20)
    os.close(master)
    shown = b"".join(pieces)
    assert done.stdout == plain.stdout
    assert b"lines" in shown
    assert b"\x1b[" in shown
    assert b"\x1b[" not in plain.stderr


def test_jobs_need_lines(file: Path) -> None:
    """One request is one job: asking for more is a slip and is told."""
    command = [sys.executable, "-m", "api", "diagnose", "--jobs", "2", str(file)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 2
    assert b"--ndjson" in done.stderr
