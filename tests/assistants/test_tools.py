"""The tools for assistants: the same answers as the other doors, asked for by the SDK's client."""

import asyncio
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import jsonschema
import pytest
from click.testing import Result

from api import strict_json
from api.answers import demos
from api.answers.answering import answer_request
from api.assistants.tools import Tool, next_check, tools
from api.curation.facts import shelf
from engine import Diagnoser, Knowledge
from tests.bench.cases import EIGHT

COMMAND = "the started command"
GOOD = demos.load_all()[0].request
BAD = {
    "machine": {"duty": "fuel-shutof", "control": "unknown", "coil": "unknown"},
    "findings": [{"check": "relay-clik", "value": float("nan"), "unit": "V"}],
}


@dataclass(frozen=True)
class Heard:
    """What a tool answered over the wire."""

    text: str
    bad: bool

    @property
    def document(self) -> Any:
        """Return it as data."""
        return json.loads(self.text)


CALLS: dict[str, tuple[str, dict[str, Any]]] = {
    "whole": ("diagnose", GOOD),
    "step": ("next_check", GOOD),
    "slips": ("diagnose", BAD),
    "slips of a step": ("next_check", BAD),
    "nothing": ("diagnose", {}),
    "cause": ("look_up", {"kind": "cause", "id": "ground-resistive"}),
    "slip of an id": ("look_up", {"kind": "cause", "id": "ground-resistve"}),
}


async def _conversation(client: Any) -> tuple[list[str], dict[str, Heard], str]:
    from mcp import MCPError  # slow to load

    heard = {}
    async with client:
        listed = [one.name for one in (await client.list_tools()).tools]
        for name, (tool, arguments) in CALLS.items():
            done = await client.call_tool(tool, arguments)
            assert done.content[0].type == "text"
            heard[name] = Heard(done.content[0].text, done.is_error)
        with pytest.raises(MCPError) as refused:
            await client.call_tool("diagnoze", {})
    return listed, heard, str(refused.value)


@pytest.fixture(
    scope="module",
    params=[pytest.param(COMMAND, marks=pytest.mark.live), "its newest form, in this process"],
)
def talk(
    request: pytest.FixtureRequest, diagnoser: Diagnoser
) -> tuple[list[str], dict[str, Heard], str]:
    """One conversation: with the command over standard input and output, as most programs speak
    today, and in the newest form of the protocol."""
    from mcp import Client, StdioServerParameters

    from api.assistants.stdio import tool_server

    if request.param == COMMAND:
        program = StdioServerParameters(
            command=sys.executable, args=["-m", "api", "mcp"], env=dict(os.environ)
        )
        return asyncio.run(_conversation(Client(program, mode="legacy")))
    return asyncio.run(_conversation(Client(tool_server(diagnoser))))


def test_each_tool_answers_as_the_other_doors(
    talk: tuple[list[str], dict[str, Heard], str], diagnoser: Diagnoser
) -> None:
    """Tools answer the same bytes as HTTP; faults are tool errors with place and nearest right
    value, and a tool that does not exist is refused with the nearest name."""
    listed, heard, refused = talk
    assert listed == ["diagnose", "next_check", "look_up"]
    assert heard["whole"].text == strict_json.dumps(diagnoser.diagnose(GOOD))
    step = heard["step"].document["next_check"]
    assert step["cautions"] == heard["whole"].document["next_checks"][0]["cautions"]
    assert heard["step"].document["cautions"] == heard["whole"].document["cautions"]
    assert heard["cause"].document["cause"]["id"] == "ground-resistive"
    assert {name for name, one in heard.items() if one.bad} == {
        "slips", "slips of a step", "nothing", "slip of an id",
    }  # fmt: skip
    faults = {one["path"]: one["message"] for one in heard["slips"].document["errors"]}
    assert "did you mean 'relay-click'?" in faults["findings[0].check"]
    assert "did you mean 'fuel-shutoff'?" in faults["machine.duty"]
    assert heard["slips of a step"].text == heard["slips"].text
    assert heard["nothing"].document["errors"] == [{"path": "machine", "message": "is missing"}]
    assert "did you mean 'ground-resistive'?" in heard["slip of an id"].text
    assert "did you mean 'diagnose'?" in refused


def test_what_a_tool_takes_is_what_the_engine_takes(knowledge: Knowledge) -> None:
    """The schema of the arguments is sound JSON Schema, takes the cases, and refuses slips."""
    schema = tools(knowledge)[0].takes
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    for request in [GOOD, *EIGHT.values()]:
        judge.validate(request)
    slips = {error.json_path for error in judge.iter_errors(BAD)}
    assert {"$.machine.duty", "$.findings[0].check"} <= slips


def test_a_step_has_its_cautions_on_each_side(diagnoser: Diagnoser) -> None:
    """With two brake solenoids the next step of each is told, with its own cautions."""
    request = {
        "machine": {
            "duty": "brake-release", "control": "controller-on-request", "coil": "body-ground",
        },
        "findings": [
            {"check": "pull-pin-voltage", "value": value, "unit": "V", "side": side}
            for side, value in (("left", 0.0), ("right", 12.0))
        ],
    }  # fmt: skip
    whole, told = diagnoser.diagnose(request), next_check(diagnoser, request).document
    assert set(told["sides"]) == {"left", "right"}
    for side, step in told["sides"].items():
        first = whole["sides"][side]["next_checks"][0]
        assert step["next_check"]["cautions"] == first["cautions"]
        assert step["next_check"]["how"] == first["how"]
        assert step["cautions"] == whole["sides"][side]["cautions"]


def test_a_repair_is_told_with_its_cautions(diagnoser: Diagnoser) -> None:
    """Where repair comes first the step is the remedy of that cause, and its cautions with it."""
    request = next(one.request for one in demos.load_all() if one.id == "dumper-brake-drops")
    whole, told = diagnoser.diagnose(request), next_check(diagnoser, request).document
    assert told["advice"]["do"] == "repair"
    first = whole["advice"]["repair_order"][0]
    cause = next(one for one in whole["causes"] if one["id"] == first)
    assert cause["cautions"]
    assert told["repair"] == {key: cause[key] for key in told["repair"]}
    assert {"remedy", "cautions"} <= set(told["repair"])


@pytest.mark.parametrize("kind", ["cause", "check", "rule"])
def test_everything_can_be_looked_up(app: Any, diagnoser: Diagnoser, kind: str) -> None:
    """Each id that is listed leads to the very item that its address has over HTTP, and every step
    of the base whose dangers call for a caution is told with it."""
    look_up = tools(diagnoser.knowledge)[2]
    plural = f"{kind}s"
    listed = look_up.call(diagnoser, {"kind": kind}).document[plural]
    there = shelf(diagnoser.knowledge, plural)
    assert list(listed) == list(there)
    client = app.test_client()
    for name in list(listed)[::9]:
        told = look_up.call(diagnoser, {"kind": kind, "id": name}).document
        assert strict_json.dumps(told[kind]) == client.get(f"/v1/{plural}/{name}").text
        if kind != "rule" and there[name].hazards:
            assert told["cautions"], name


@pytest.mark.parametrize(
    ("arguments", "path", "says"),
    [
        ({}, "kind", "unknown kind 'None' (one of: cause, check, rule)"),
        ({"kind": ["cause"]}, "kind", "unknown kind"),
        ({"kind": "check", "id": 5}, "id", "unknown check '5'"),
        ({"kind": "check", "name": "relay-click"}, "name", "unknown argument 'name'"),
    ],
)
def test_what_cannot_be_looked_up_says_why(
    diagnoser: Diagnoser, arguments: dict[str, Any], path: str, says: str
) -> None:
    """A wrong argument is told with its place and what there is."""
    told = tools(diagnoser.knowledge)[2].call(diagnoser, arguments)
    assert told.bad
    faults = {one["path"]: one["message"] for one in told.document["errors"]}
    assert says in faults[path]


def test_our_own_fault_is_a_problem_document(diagnoser: Diagnoser) -> None:
    """Where threewire itself fails the assistant hears so, without a traceback or a value."""
    from api.assistants.stdio import called

    def fail(*_: object) -> Any:
        raise RuntimeError("secret reading")

    told = called(diagnoser, Tool("diagnose", "", {}, fail), {})
    assert told.bad
    assert told.document["status"] == 500
    assert "secret" not in strict_json.dumps(told.document)
    assert (
        called(diagnoser, tools(diagnoser.knowledge)[0], GOOD).document
        == (answer_request(diagnoser, GOOD)[1])
    )


def test_without_the_extra_one_sentence_says_what_to_install(
    run: Callable[..., Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the SDK is not installed the command names the extra, with exit status 1."""
    monkeypatch.setitem(sys.modules, "mcp", None)
    monkeypatch.delitem(sys.modules, "mcp.server", raising=False)
    monkeypatch.delitem(sys.modules, "api.assistants.stdio", raising=False)
    done = run("mcp")
    assert done.exit_code == 1
    assert done.stderr.count("\n") == 1
    assert "pip install '.[mcp]'" in done.stderr
