"""README and DEVELOPERS say what is true: blocks are real output, what they name exists."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click import Context, Group
from flask import Flask
from flask.testing import FlaskClient

from api.cli.main import Lazy, threewire
from engine import Knowledge
from engine.knowledge import items
from engine.knowledge.text import load_yaml
from tests import readme, sweeps

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FORMATS = (ROOT / "api/docs/formats.md").read_text(encoding="utf-8")
BOTH = pytest.mark.parametrize("text", [TEXT, DEVELOPERS], ids=["README", "DEVELOPERS"])
CODE = re.compile(r"`([^`\n]+)`|```sh\n(.*?)```", re.DOTALL)
PLACEHOLDERS = r"\b(ID|FAMILY|RULE|DIR)\b"


def plain(text: str) -> str:
    """Return text without the digest of the knowledge, which changes with every word of it."""
    return re.sub(r"\d{4}\.\d{2}-[0-9a-f]{12}", "VERSION", text)


def code(text: str) -> str:
    """Return what stands in backticks and shell blocks, a line a piece."""
    return "\n".join(short or block for short, block in CODE.findall(text))


def test_blocks_are_real_output() -> None:
    """The report and the answer that README shows are what its own examples give."""
    assert plain(readme.written(TEXT)) == plain(TEXT), "run: python -m tests.readme"


@BOTH
def test_commands_exist(text: str) -> None:
    """Each command that the text names is one, and each word after ``threewire kb`` too."""
    context = Context(threewire)
    named = set(re.findall(r"threewire ([a-z]+)\b", code(text)))
    assert named
    assert named <= set(threewire.list_commands(context))
    keeping = Lazy("kb").load()
    assert isinstance(keeping, Group)
    named = set(re.findall(r"(?m)^(?:threewire )?kb ([a-z]+)\b", code(text)))
    assert named
    assert named <= set(keeping.list_commands(context))


def test_every_sweep_runs_whole_before_anything_is_let_out() -> None:
    """What DEVELOPERS says of ``.ci/run``: it exports the setting ahead of the tests."""
    setting, tests = sweeps.SETTING, "python -m pytest"
    assert f"`{setting}=1`" in DEVELOPERS
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert 0 < script.index(f"export {setting}=1") < script.index(tests)


@BOTH
def test_files_exist(text: str) -> None:
    """Each file or folder of the project that the text names exists."""
    named = set(re.findall(r"(?:tests|engine|api|kb|\.ci)/[A-Za-z0-9_./-]*[A-Za-z0-9]", text))
    assert named
    missing = [
        one for one in named if not (ROOT / one).exists() and not re.search(PLACEHOLDERS, one)
    ]
    assert not missing


@BOTH
def test_modules_exist(text: str) -> None:
    """Each ``python -m tests...`` that the text names is a module."""
    named = set(re.findall(r"python -m (tests[a-z_.]*[a-z_])", text))
    assert named
    places = {one: ROOT / one.replace(".", "/") for one in named}
    assert not [
        one for one, place in places.items()
        if not place.with_suffix(".py").is_file() and not (place / "__main__.py").is_file()
    ]  # fmt: skip


def addresses() -> list[str]:
    """Return the addresses that README lists or names."""
    found = re.findall(r"`(?:GET |POST )?(/[a-z0-9_/.{}-]+)`", TEXT)
    return sorted(set(found) | {"/healthz", "/readyz"})


def body_for(path: str) -> dict[str, Any]:
    """Return what to post to an address of README: the request that it shows, or two volts."""
    if path.startswith("/v1/sums"):
        return {"json": {"volts": 12.1, "ohms": 0.33}}
    if path == "/v1/hearings":
        return {"json": {"text": "It clicks but nothing."}}
    if path == "/v1/traces":
        rows = "time,pull current\n" + "".join(f"{n / 1000},{n % 9}\n" for n in range(200))
        return {"data": rows, "content_type": "text/csv"}
    request = re.search(r"-d '\n(.*?)'\n", TEXT, re.DOTALL)
    assert request is not None
    if path.endswith("/batch"):
        line = json.dumps(json.loads(request[1])) + "\n"
        return {"data": line, "content_type": "application/x-ndjson"}
    return {"json": json.loads(request[1])}


@pytest.fixture(scope="module")
def served(app_of_module: Flask) -> tuple[FlaskClient, str]:
    """A client of the service, and the number of a case there."""
    client = app_of_module.test_client()
    machine = {"duty": "fuel-shutoff", "control": "unknown", "coil": "unknown"}
    case = client.post("/v1/cases", json={"machine": machine}).headers["Location"]
    return client, case.split("/")[-1]


@pytest.mark.parametrize("path", addresses())
def test_addresses_answer(path: str, knowledge: Knowledge, served: tuple[FlaskClient, str]) -> None:
    """Each address that README names is served, with the method that it shows."""
    client, number = served
    kind = path.split("/")[2] if "{id}" in path else ""
    some = {"cases": number, "sums": "winding-current"}.get(kind)
    filled = path.replace("{id}", some or next(iter(getattr(knowledge, kind, [""]))))
    if re.search(rf"POST {re.escape(path)}[` ]", TEXT):
        assert client.post(filled, **body_for(path)).status_code == 200
    else:
        assert client.get(filled).status_code == 200


def test_curl_shows_an_address_of_the_table() -> None:
    """The curl command goes to the address for diagnoses on the port that serve is given."""
    port = re.search(r"threewire serve --port (\d+)", TEXT)
    assert port is not None
    assert f"curl -s http://127.0.0.1:{port[1]}/v1/diagnoses " in TEXT


def test_job_stands_first_and_the_two_commands_once() -> None:
    """The job is one paragraph at the top; the two commands that install stand once each."""
    assert TEXT.split("\n\n")[1].startswith("A machine's engine will not start")
    for command in ("pip install -q . && .venv/bin/threewire demo\n", "-m pytest -q -n 2\n"):
        assert TEXT.count(command) == 1


def words(start: str, end: str) -> set[str]:
    """Return the names in backticks of a part of the page of formats."""
    part = FORMATS.split(start, 1)[1].split(end, 1)[0]
    return set(re.findall(r"`([a-z][a-z0-9-]*)`", part))


def test_nodes_and_parts_are_those_of_the_circuits(knowledge: Knowledge) -> None:
    """The page of formats lists every node and part of the circuits, and none that is not there."""
    raw = [
        load_yaml(file.read_text(encoding="utf-8"), file.name)
        for file in sorted((ROOT / "kb" / "circuits").glob("*.yaml"))
    ]
    nodes = {node for one in raw for node in one["nodes"]}
    parts = {part for one in knowledge.circuits.values() for part in one.parts}
    parts |= {part["id"] for one in raw for coil in one.get("coils", {}).values()
              for part in coil["parts"]}  # fmt: skip
    assert words("Nodes: ", "\n\n") == nodes
    assert words("Parts, all circuits: ", "\nCoils (") == parts


def test_events_and_hazards_are_those_of_the_code() -> None:
    """The page of formats lists every event and every hazard that files may use, and no other."""
    assert words("Events (each a probability", "\n\n") == set(items.EVENTS)
    assert words("Hazards (a closed set", ". What the phase") == set(items.HAZARDS)


def test_circumstances_are_those_of_the_table(knowledge: Knowledge) -> None:
    """The page of formats lists every circumstance of the table, and no other."""
    known = set(knowledge.rows("circumstances"))
    assert words("Circumstance tags (closed set,", "\n\n") == known
