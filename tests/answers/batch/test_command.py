"""``threewire diagnose --ndjson``: the same answers with any number of processes."""

import contextlib
import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import psutil
import pytest

from api.answers.answering import MAX_BYTES
from tests import forking
from tests.forking import ROOT, Forked

pytestmark = pytest.mark.live  # each test starts the command, some of them its workers
BASE = ("diagnose", "--ndjson")


@pytest.fixture
def file(tmp_path: Path, mixed: list[bytes]) -> Path:
    """A file of good and bad lines, more than are read ahead."""
    found = tmp_path / "requests.ndjson"
    found.write_bytes(b"\r\n".join(mixed * 5))
    return found


@pytest.fixture
def few(tmp_path: Path, mixed: list[bytes]) -> Path:
    """A file of some good and bad lines."""
    found = tmp_path / "few.ndjson"
    found.write_bytes(b"\n".join(mixed))
    return found


def run(*arguments: str | Path, given: bytes = b"") -> "subprocess.CompletedProcess[bytes]":
    """Run the command to its end."""
    return forking.run(*BASE, *arguments, given=given)


@contextlib.contextmanager
def started(*arguments: str | Path) -> Iterator[tuple[Forked, BinaryIO, BinaryIO]]:
    """Start the command; give it, its output and its errors, and kill it at the end."""
    output, errors = os.pipe(), os.pipe()
    words = (*BASE, *map(str, arguments))
    with open(os.devnull, "rb") as nothing:
        process = Forked(words, os.environ, ROOT, (nothing, output[1], errors[1]))
    for pipe in (output, errors):
        os.close(pipe[1])
    try:
        with open(output[0], "rb") as told, open(errors[0], "rb") as wrong:
            yield process, told, wrong
    finally:
        process.kill()
        process.wait(20)


def test_one_and_two_jobs_give_the_same_bytes(file: Path) -> None:
    """Order, answers, problems and exit status are the same, from a file and from a pipe."""
    one, two = run(file), run("--jobs", "2", file)
    assert one.stdout == two.stdout
    assert (one.returncode, two.returncode) == (1, 1)
    assert one.stderr == two.stderr == b"threewire: 35 of the lines could not be answered\n"
    assert len(one.stdout.splitlines()) == 105
    assert run("-", given=file.read_bytes()).stdout == one.stdout


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
    with started("--jobs", jobs, file) as (process, told, errors):
        told.readline()
        told.close()
        assert process.wait(60) == 1
        assert b"Traceback" not in errors.read()


@pytest.fixture
def busy(tmp_path: Path, good: list[bytes]) -> Iterator[tuple[Forked, BinaryIO, BinaryIO]]:
    """Two jobs on more lines than anybody waits for, the first answer given."""
    file = tmp_path / "many.ndjson"
    file.write_bytes((good[0] + b"\n") * 20_000)
    with started("--jobs", "2", file) as (process, told, errors):
        told.readline()
        yield process, told, errors


def _workers(process: Forked) -> list[psutil.Process]:
    found = psutil.Process(process.pid).children(recursive=True)
    return [one for one in found if "spawn_main" in " ".join(one.cmdline())]


def test_a_process_that_is_killed_is_told(busy: tuple[Forked, BinaryIO, BinaryIO]) -> None:
    """A worker that the system ends gives an error in words and exit status 70, not a hang."""
    process, told, errors = busy
    os.kill(_workers(process)[0].pid, signal.SIGKILL)
    told.read()
    said = errors.read()
    assert process.wait(60) == 70
    assert b"killed, or out of memory" in said
    assert b"Traceback" not in said


def test_workers_end_with_their_parent(busy: tuple[Forked, BinaryIO, BinaryIO]) -> None:
    """When the command itself is killed, no worker is left behind."""
    process, *_ = busy
    workers = _workers(process)
    process.kill()
    assert len(workers) == 2
    _, alive = psutil.wait_procs(workers, timeout=20)
    assert not alive


def test_interrupt_ends_it_quietly(busy: tuple[Forked, BinaryIO, BinaryIO]) -> None:
    """Ctrl-C ends command and workers without a traceback."""
    process, told, errors = busy
    workers = _workers(process)
    process.send_signal(signal.SIGINT)
    told.read()
    assert b"Traceback" not in errors.read()
    assert process.wait(60) != 0
    assert not psutil.wait_procs(workers, timeout=20)[1]


def test_jobs_need_lines(few: Path) -> None:
    """One request is one job: asking for more is a slip and is told."""
    done = forking.run("diagnose", "--jobs", "2", few)
    assert done.returncode == 2
    assert b"--ndjson" in done.stderr
