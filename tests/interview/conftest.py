"""One interview on the shipped knowledge base, held line by line or in a pseudo-terminal."""

import os
import re
import subprocess
import termios
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
import yaml
from pexpect import EOF, fdpexpect

from api.interview import Interview, InterviewState, Turn
from engine import Diagnoser
from tests import forking
from tests.forking import Forked

ROOT = Path(__file__).parents[2]
LOADER = ("1", "4012 compact track loader", "1", "2", "2", "1", "1", "7")
"""Caller, label, engine, controller on crank, body ground, 12 V, lever, the full kit."""
MORE = "-- Enter goes on --"
STEP = re.compile(r"\(\w+,\s+[\d.]+\s+min,\s+([a-z0-9-]+)\)")
"""A step's title ends in its kind, minutes and id."""


@pytest.fixture(scope="session")
def talk(remembering: Diagnoser) -> Interview:
    """The interview, on an engine that remembers its answers: most calls begin alike."""
    return Interview(remembering)


@pytest.fixture(scope="session")
def hold(talk: Interview) -> Callable[..., Turn]:
    """Return a function that holds an interview line by line and returns the last turn.

    Only the last line may be one that is not taken: a test must not lose an answer unseen.
    """

    def run(*lines: str, after: Turn | None = None, start: Sequence[str] = LOADER) -> Turn:
        turn = after or talk.open(InterviewState())
        given = (*(() if after else start), *lines)
        for place, line in enumerate(given, 1):
            turn = talk.step(turn.state, line)
            assert not turn.bad or place == len(given), f"{line!r} was not taken"
        return turn

    return run


@pytest.fixture(scope="session")
def said() -> Callable[[Turn], str]:
    """Return a function that gives all that a turn shows as one text, titles included."""

    def run(turn: Turn) -> str:
        return "\n".join(
            text
            for block in turn.blocks
            for text in (block.title, *(f"{line.lead} {line.text}" for line in block.lines))
        )

    return run


@pytest.fixture
def piped(tmp_path: Path) -> Callable[..., "subprocess.CompletedProcess[str]"]:
    """Return a function that runs ``threewire ask`` with answers from a pipe."""

    def run(
        lines: Sequence[str], *options: str, **environment: str
    ) -> "subprocess.CompletedProcess[str]":
        done = forking.run(
            "ask", *options, given="".join(f"{line}\n" for line in lines).encode(),
            folder=tmp_path, environment=_environment(tmp_path) | environment,
        )  # fmt: skip
        return subprocess.CompletedProcess(
            done.args, done.returncode, done.stdout.decode(), done.stderr.decode()
        )

    return run


def _environment(folder: Path) -> dict[str, str]:
    kept = {key: value for key, value in os.environ.items() if key not in ("COLUMNS", "LINES")}
    return {
        **kept, "PYTHONPATH": str(ROOT), "TERM": "dumb", "PYTHONIOENCODING": "utf-8",
        "XDG_DATA_HOME": str(folder / "data"),
    }  # fmt: skip


class Console:
    """``threewire ask`` in a pseudo-terminal, read from prompt to prompt."""

    def __init__(self, folder: Path, rows: int, columns: int, options: Sequence[str]) -> None:
        master, slave = os.openpty()
        termios.tcsetwinsize(slave, (rows, columns))
        command = ("ask", *options)
        self.process = Forked(
            command, _environment(folder), folder, (slave, slave, slave), terminal=True
        )
        os.close(slave)
        self.child = fdpexpect.fdspawn(master, encoding="utf-8", timeout=60)
        self.columns = columns
        self.steps: list[tuple[str, str]] = []
        """The id of each step shown, and all that was shown between the last answer and it."""
        self.pages: list[str] = []
        """What was shown up to each place where somebody typed, an Enter to go on included."""
        self.text = self.to_prompt()

    def say(self, line: str) -> str:
        """Type a line and return what is shown up to the next prompt or the end."""
        self.child.sendline(line)
        self.text = self.to_prompt()
        return self.text

    def to_prompt(self) -> str:
        """Return what is shown up to the next prompt, going on at each full page."""
        text = ""
        while True:
            found = self.child.expect([r"\r\n> $", rf"{MORE}$", EOF])
            self.pages.append(self.child.before.replace("\r\n", "\n"))
            text += self.pages[-1]
            if found != 1:
                break
            self.child.sendline("")
        match = STEP.search(" ".join(text.split()))
        if match:
            flat = " ".join(line.removeprefix("! ").strip() for line in text.split("\n"))
            self.steps.append((match.group(1), " ".join(flat.split())))
        return text

    @property
    def step(self) -> str:
        """The id of the check that is asked now, or nothing."""
        match = STEP.search(" ".join(self.text.split()))
        return match.group(1) if match else ""

    def finish(self) -> int:
        """Wait for the end and return the exit status."""
        self.child.expect(EOF)
        return self.process.wait(30)

    def close(self) -> int:
        """Close the terminal, as a window is closed, and return the exit status."""
        self.child.close()
        return self.process.wait(30)


@pytest.fixture
def console(tmp_path: Path) -> Iterator[Callable[..., Console]]:
    """Return a function that starts ``threewire ask`` in a pseudo-terminal."""
    started: list[Console] = []

    def start(*options: str, rows: int = 24, columns: int = 80) -> Console:
        started.append(Console(tmp_path, rows, columns, options))
        return started[-1]

    yield start
    for one in started:
        one.process.kill()
        one.close()


@pytest.fixture(scope="session")
def dangers() -> Callable[[str, str], list[tuple[str, ...]]]:
    """Return a function: for a check on a duty, the first sentences that must be on the screen.

    Read straight from the files of checks and cautions, past the engine: for each hazard of the
    check that has a caution on every machine of the duty, one of these sentences must be shown.
    """
    rules = [_yaml(file) for file in (ROOT / "kb/rules/cautions").glob("*.yaml")]
    checks = {file.stem: _yaml(file) for file in (ROOT / "kb/checks").glob("*.yaml")}

    def run(check: str, duty: str) -> list[tuple[str, ...]]:
        found = []
        for hazard in checks[check]["hazards"]:
            texts = tuple(
                " ".join(rule["because"]["found"].split()).split(". ")[0].rstrip(".")
                for rule in rules
                if {"step": hazard} in rule["when"] and _on_every(rule["when"], duty)
            )
            found += [texts] if texts else []
        return found

    return run


def _yaml(file: Path) -> Mapping[str, Any]:
    found: Mapping[str, Any] = yaml.load(file.read_text("utf-8"), yaml.CSafeLoader)
    return found


def _on_every(when: Sequence[Mapping[str, Any]], duty: str) -> bool:
    """Return whether a rule about a step needs nothing else of the machine than its duty."""
    others = [one for one in when if "step" not in one]
    return all(one == {"machine": "duty", "is": duty} for one in others)
