"""Answers from a pipe, narrow and plain output, files on the command line."""

import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.cli.ask_book import Keeper, open_book
from api.cli.ask_terminal import Run, Screen
from api.interview import Interview, InterviewState

Piped = Callable[..., "subprocess.CompletedProcess[str]"]
LOADER = ("1", "4012 compact track loader", "1", "2", "2", "1", "1", "7")


def test_end_of_input_gives_the_order_so_far(piped: Piped) -> None:
    """When the answers end, the work order as it stands is printed, and the status is 0."""
    done = piped([*LOADER, "2", "add pull-current", "0.1 A"])
    assert done.returncode == 0
    assert done.stderr == ""
    order = done.stdout.partition("WORK ORDER NOTE")[2]
    assert "Complaint: It turns over but does not start" in order
    assert "Pull current: 0.1 A" in order
    assert "\x1b" not in done.stdout


def test_bad_answer_in_a_pipe_is_status_1(piped: Piped) -> None:
    """An answer that is not taken is named with its line, the rest goes on, the status is 1."""
    done = piped([*LOADER, "9", "2", "add pull-current", "40000 A", "0.1 A"])
    assert done.returncode == 1
    assert "line 9 was not taken: '9'" in done.stderr
    assert "line 12 was not taken: '40000 A'" in done.stderr
    assert "Pull current: 0.1 A" in done.stdout.partition("WORK ORDER NOTE")[2]


def test_no_input_at_all(piped: Piped) -> None:
    """An empty pipe is no fault."""
    done = piped([])
    assert done.returncode == 0
    assert "Nothing to go by yet." in done.stdout


def test_plain_ascii_and_narrow(piped: Piped) -> None:
    """On an ASCII terminal of 40 columns nothing breaks and nothing is wider than 40."""
    lines = ["2", "J\u00f6rd 12", "2", "0", "0", "0", "2", "2", "7", "1", "causes", "help", "list"]
    done = piped(lines, COLUMNS="40", PYTHONIOENCODING="ascii:replace")
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    typed = {f"> {line}" for line in lines}
    assert not [row for row in done.stdout.splitlines() if len(row) > 40 and row not in typed]


def test_who_reads_can_be_said_beforehand(piped: Piped) -> None:
    """With --as it is not asked; another reader is bad usage."""
    done = piped(["4012", "1", "2"], "--as", "caller")
    assert done.returncode == 0
    assert "Who reads this screen?" not in done.stdout
    assert piped([], "--as", "boss").returncode == 2


def test_a_crash_names_the_case(
    talk: Interview, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """A fault in threewire itself leaves every answer in the case that the message names."""
    given = iter(["1", "4012", "1", "crash"])
    step = talk.step

    def stumble(state: InterviewState, line: str) -> Any:
        if line == "crash":
            raise RuntimeError("stumbled")
        return step(state, line)

    monkeypatch.setattr(talk, "step", stumble)
    screen = Screen()
    monkeypatch.setattr(screen, "read", lambda: next(given))
    book = open_book(tmp_path / "cases.sqlite3", talk.desk)
    with pytest.raises(RuntimeError):
        Run(talk, InterviewState(), screen, Keeper(book)).hold()
    told = capsys.readouterr().err
    case = book.get(told.partition("Everything is in case ")[2].split("\n")[0])
    assert (case.machine_type, case.machine["duty"]) == ("4012", "fuel-shutoff")
    book.database.close()
