"""Answers from a pipe, narrow and plain output, files on the command line."""

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.cli.ask_journal import Journal
from api.cli.ask_terminal import Run, Screen
from api.interview import Interview, State

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


def test_save_resume_and_no_overwriting(piped: Piped, tmp_path: Path) -> None:
    """What is saved is resumed with its answers; a file that is there is never overwritten."""
    other = tmp_path / "other.json"
    other.write_text("precious", encoding="utf-8")
    done = piped([*LOADER, "2", "save other.json", "save call.json", "quit"])
    assert done.returncode == 1, "one save was refused"
    assert other.read_text(encoding="utf-8") == "precious"
    assert "other.json is there already" in done.stdout
    done = piped(
        ["add pull-current", "0.1 A", "save", "quit"], "--resume", "call.json", "--as", "technician"
    )
    assert done.returncode == 0, done.stderr
    assert "What the engine does: It turns over but does not start" in done.stdout
    answers = json.loads((tmp_path / "call.json").read_text(encoding="utf-8"))["answers"]
    assert answers[0] == {"kind": "machine", "key": "audience", "value": "technician"}
    assert answers[-1]["key"] == "pull-current"


def test_resume_of_a_bad_file_is_located(piped: Piped, tmp_path: Path) -> None:
    """File, line and place of every fault stand on standard error; the status is 1."""
    piped([*LOADER, "2", "save call.json", "quit"])
    text = (tmp_path / "call.json").read_text(encoding="utf-8")
    (tmp_path / "bad.json").write_text(
        text.replace("cranks-no-start", "cranks-no-stat"), encoding="utf-8"
    )
    done = piped([], "--resume", "bad.json")
    assert done.returncode == 1
    line = text[: text.index("cranks-no-start")].count("\n") + 1
    assert f"bad.json:{line}: answers[8].value.outcome: unknown outcome" in done.stderr
    assert "did you mean 'cranks-no-start'?" in done.stderr
    assert "Traceback" not in done.stderr
    assert piped([], "--resume", "nowhere.json").returncode == 1


def test_options_are_checked(piped: Piped) -> None:
    """A kind of check that does not exist is bad usage and names the nearest."""
    done = piped([], "--hands", "lampp")
    assert done.returncode == 2
    assert "did you mean 'lamp'?" in done.stderr
    done = piped(["", "1", "2", "2", "1", "1", "2"], "--as", "caller", "--hands", "ask,look")
    assert done.returncode == 0
    assert "Who reads this screen?" not in done.stdout
    assert "What is at hand" not in done.stdout


def test_a_crash_names_the_file(
    talk: Interview, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """A fault in threewire itself leaves every answer in the file that the message names."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    given = iter(["1", "4012", "1", "crash"])
    step = talk.step

    def stumble(state: State, line: str) -> Any:
        if line == "crash":
            raise RuntimeError("stumbled")
        return step(state, line)

    monkeypatch.setattr(talk, "step", stumble)
    screen = Screen()
    monkeypatch.setattr(screen, "read", lambda: next(given))
    with pytest.raises(RuntimeError):
        Run(talk, State(), screen, Journal()).hold()
    told = capsys.readouterr().err
    path = Path(told.partition("Everything is in ")[2].split("\n")[0])
    answers = json.loads(path.read_text(encoding="utf-8"))["answers"]
    assert [one["value"] for one in answers] == ["caller", "4012", "fuel-shutoff"]
