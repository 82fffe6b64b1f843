"""README says what is true: its blocks are real output, what it names exists."""

import re
from pathlib import Path

import pytest

from api import create_app
from api.cli import COMMANDS
from tests import readme

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def plain(text: str) -> str:
    """Return text without the digest of the knowledge, which changes with every word of it."""
    return re.sub(r"2026\.11-[0-9a-f]{12}", "VERSION", text)


def test_blocks_are_real_output() -> None:
    """The report and the answer that README shows are what its own examples give."""
    assert plain(readme.written(TEXT)) == plain(TEXT), "run: python -m tests.readme"


def test_commands_exist() -> None:
    """Each command that README names is one."""
    named = set(re.findall(r"threewire ([a-z]+)\b", TEXT))
    assert named
    assert named <= set(COMMANDS) | {"takes"}


@pytest.mark.parametrize("text", [TEXT, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_files_exist(text: str) -> None:
    """Each file or folder of the project that the text names exists."""
    named = set(re.findall(r"(?:tests|engine|api|kb|\.ci)/[A-Za-z0-9_./-]*[A-Za-z0-9]", text))
    missing = [
        one for one in named
        if not (ROOT / one).exists() and not re.search(r"ID|FAMILY|RULE|x\.yaml|DIR|ARG", one)
    ]  # fmt: skip
    assert not missing


def test_addresses_answer() -> None:
    """Each address that README lists is served."""
    client = create_app().test_client()
    for path in ("/v1/causes", "/v1/checks", "/v1/circuits", "/v1/rules", "/openapi.json",
                 "/reference/", "/healthz", "/readyz"):  # fmt: skip
        assert path in TEXT
        assert client.get(path).status_code == 200, path


def test_job_stands_first_and_the_two_commands_once() -> None:
    """The job is one paragraph at the top, then two commands."""
    assert TEXT.split("\n\n")[1].startswith("A machine's engine will not start")
    assert TEXT.count("threewire demo\n```") == 1
    assert TEXT.count("python -m pytest -q -n 2\n```") == 1
