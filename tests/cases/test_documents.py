"""What README and the page for programmers show was run: every block and every example."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.answers import problems
from api.cases import Book
from api.store import Database
from api.store.models import CaseRow
from api.web import BLUEPRINTS
from engine import Diagnoser, Knowledge
from tests import forking
from tests.databases import set_up
from tests.serving import ROOT, Running
from tests.web.conftest import labels

TOOLS = pytest.mark.skipif(
    not (shutil.which("curl") and shutil.which("jq")), reason="curl and jq; .ci/run installs them"
)
DOCS = ROOT / "api" / "docs"
EXAMPLES = DOCS / "examples"
PAGE = (DOCS / "programmers.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
SECTION = README.split("## For shop software: cases\n")[1].split("\n## ")[0]


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


@pytest.fixture
def environment(database_url: str, tmp_path: Path) -> dict[str, str]:
    """A shell in which ``threewire`` is this checkout, with a store of its own."""
    folder = tmp_path / "bin"
    folder.mkdir()
    forking.program(folder / "threewire")
    return {
        "PATH": f"{folder}:{Path(sys.executable).parent}:{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT), "HOME": str(tmp_path), "THREEWIRE_DATABASE": database_url,
        "NO_PROXY": "*", "THREEWIRE_WEBHOOK_ALLOW": "127.0.0.0/8",
    }  # fmt: skip


@pytest.fixture
def server(environment: dict[str, str], tmp_path: Path) -> Iterator[Running]:
    """A server on the store, which is set up."""
    database = set_up(environment["THREEWIRE_DATABASE"])
    database.close()
    running = Running(tmp_path / "server", environment=environment)
    try:
        running.wait_ready()
        yield running
    finally:
        running.process.terminate()
        running.process.wait(30)


def run(environment: dict[str, str], *command: str, cwd: Path | None = None) -> str:
    """Run a command to its end and return what it printed; it must succeed."""
    done = subprocess.run(command, env=environment, text=True, capture_output=True, check=False,
                          timeout=120, cwd=cwd)  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@TOOLS
def test_readme_is_replayed(server: Running, environment: dict[str, str], tmp_path: Path) -> None:
    """The blocks of README's section on cases, pasted one after the other, do what it says."""
    first, *others = blocks(SECTION, "sh")
    set_up, serve = first.rstrip().rsplit("\n", 1)
    assert serve == "threewire serve --port 8000"
    script = "\n".join(["set -euo pipefail", set_up, *others])
    script = script.replace("http://127.0.0.1:8000", server.url)
    out = run(environment, "bash", "-c", script, cwd=tmp_path)
    (shown,) = blocks(SECTION, "text")
    assert out.endswith(shown)
    opened = json.loads(next(line for line in out.splitlines() if line.startswith("{")))
    assert re.fullmatch(r"\d{4} \d{4}", opened["number"])
    database = Database(environment["THREEWIRE_DATABASE"])
    with database.reading() as session:
        (row,) = session.query(CaseRow).all()
        assert (row.steps[0].diagnosis or {})["next_check"]["say"]
    database.close()


def with_server(environment: dict[str, str], server: Running) -> dict[str, str]:
    """Return an environment that names the server and a key."""
    key = run(environment, "threewire", "keys", "make", "--role", "agent", "--name", "till 3")
    return environment | {"THREEWIRE_URL": server.url, "THREEWIRE_KEY": key.strip()}


@TOOLS
def test_examples_run(server: Running, environment: dict[str, str], tmp_path: Path) -> None:
    """Python and curl take a case to its end; the printed sheet is kept."""
    environment = with_server(environment, server)
    out = run(environment, sys.executable, str(EXAMPLES / "case.py"), cwd=tmp_path)
    assert out.splitlines()[-1] == "closed as ground-resistive"
    assert "Case " in (tmp_path / "work-order.html").read_text(encoding="utf-8")
    out = run(environment, "bash", str(EXAMPLES / "case.sh"), cwd=tmp_path)
    assert "\nclosed\n" in out
    assert ",ground-resistive,ground eye,35," in out
    if shutil.which("node"):
        _till(environment)


def _till(environment: dict[str, str]) -> None:
    """JavaScript shows each question with its buttons, closes, and takes the event of it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    made = run(environment, "threewire", "events", "add", f"http://127.0.0.1:{port}/")
    own = {"WEBHOOK_PORT": port, "WEBHOOK_SECRET": made.split()[-1]}
    answers = ("cranks-no-start", "not-known", "not-known")
    out = run(environment | own, "node", str(EXAMPLES / "till.mjs"), *answers)
    assert out.count("  [I don't know]\n") == len(answers)
    assert "  [It turns over but does not start]\n" in out
    assert re.search(r"\nclosed as ground-resistive\ntold: case.closed \d{4} \d{4}\n$", out)


def test_shop_system_opens_one_case(
    server: Running, environment: dict[str, str], tmp_path: Path
) -> None:
    """Run twice with the same work order there is one case, with the order's words in it."""
    named = with_server(environment, server)
    command = (sys.executable, str(EXAMPLES / "shop_system.py"), str(EXAMPLES / "work-order.json"))
    first, second = (run(named, *command, cwd=tmp_path) for _ in range(2))
    assert first == second
    assert re.match(r"case \d{4} \d{4}\n(! .+\n)+ask .+", first)  # cautions, then the question
    database = Database(environment["THREEWIRE_DATABASE"])
    with database.reading() as session:
        (row,) = session.query(CaseRow).all()
    database.close()
    order = json.loads((EXAMPLES / "work-order.json").read_text(encoding="utf-8"))
    assert (row.reference, row.fleet_number) == (order["order"], order["asset"])
    assert row.complaint == order["reported"]
    assert row.opened_by == "Dana via till 3"


def test_the_problem_on_the_page_is_the_real_one(book: Book) -> None:
    """The example of an error is what is sent, its request id left out."""
    (shown,) = (one for one in map(json.loads, blocks(PAGE, "json")) if "status" in one)
    number = re.findall(r"v1/cases/(\d{8})\n", PAGE)[0]
    with pytest.raises(Exception, match="slip") as caught:
        book.get(number)
    found = problems.document(404, str(caught.value))
    assert {key: found[key] for key in shown} == shown


def test_the_page_names_what_there_is(knowledge: Knowledge, engine: Diagnoser) -> None:
    """Each address on the page is served, and each of the cases' addresses is on the page."""
    served = {label.split(" ")[1] for label in labels(*BLUEPRINTS)}
    cases = {path for path in served if path.startswith(("/v1/cases", "/v1/learning"))}
    text = PAGE.replace(
        "work-order.json`, `.csv`, `.html`",
        " ".join(f"`/v1/cases/{{id}}/work-order.{form}`" for form in ("csv", "html")) + ".json`",
    )
    named = set(re.findall(r"(?:/v1/[a-z/{}.-]*[a-z}])", text)) | {"/v1/cases/{id}/work-order.json"}
    assert cases <= named
    assert {path for path in named if "{" in path} <= served
    for name in re.findall(r"`(api/docs/[a-z/.-]+)`", PAGE):
        assert (ROOT / name).exists(), name
    for name in re.findall(r"`([a-z_-]+\.(?:py|sh|json|mjs))`", PAGE):
        if name != "openapi.json":
            assert (EXAMPLES / name).exists(), name
