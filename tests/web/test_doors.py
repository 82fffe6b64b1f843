"""Three doors, one engine: the service, the command line and the function say the same."""

import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import Result

from api.answers import demos
from api.strict_json import dumps
from engine import diagnose
from tests.forking import ROOT, Forked
from tests.sweeps import SLOW

WORKED = sorted((ROOT / "tests" / "cases" / "worked").glob("*.yaml"))


def requests() -> Iterator[Any]:
    """Yield the demo cases and some worked cases, as requests."""
    for demo in demos.load_all()[:: 1 if SLOW else 3]:
        yield pytest.param(demo.request, id=demo.id)
    for path in WORKED[:: 16 if SLOW else 48]:
        yield pytest.param(yaml.load(path.read_text(), yaml.CSafeLoader)["request"], id=path.stem)


@pytest.mark.parametrize("request_", list(requests()))
def test_same_bytes_through_every_door(
    post: Callable[..., Any], run: Callable[..., Result], tmp_path: Path, request_: dict[str, Any]
) -> None:
    """The same request gives the same bytes over HTTP, from a file, as a line and in Python."""
    file = tmp_path / "request.json"
    file.write_text(json.dumps(request_))
    expected = dumps(diagnose(request_)).encode()
    assert post(request_).data == expected
    assert run("diagnose", "--json", file).stdout_bytes == expected
    assert run("diagnose", "--ndjson", file).stdout_bytes == expected


def test_yaml_and_json_of_one_request_agree(
    run: Callable[..., Result], tmp_path: Path, case: dict[str, Any]
) -> None:
    """A request may be written in YAML; the answer is that of the same request in JSON."""
    as_yaml, as_json = tmp_path / "request.yaml", tmp_path / "request.json"
    as_yaml.write_text(yaml.safe_dump(case))
    as_json.write_text(json.dumps(case))
    answers = [run("diagnose", "--json", file).stdout for file in (as_yaml, as_json)]
    assert answers[0] == answers[1]
    assert run("diagnose", "--json", "-", stdin=as_yaml.read_bytes()).stdout == answers[0]
    assert run("diagnose", "--json", "-", stdin=as_json.read_bytes()).stdout == answers[0]


def test_same_refusal_through_every_door(
    post: Callable[..., Any], run: Callable[..., Result], tmp_path: Path
) -> None:
    """A bad request gets the same faults, paths and words over HTTP, as a line and from a file."""
    bad = {"machine": {"duty": "brakes"}, "findings": [{"check": "pull-pin-voltag"}], "x": 1}
    file = tmp_path / "bad.json"
    file.write_text(json.dumps(bad))
    over_http = post(bad).get_json(force=True)
    del over_http["request_id"]
    line = json.loads(run("diagnose", "--ndjson", file).stdout)
    assert line.pop("line") == 1
    assert line == over_http
    printed = run("diagnose", file).stderr
    for error in over_http["errors"]:
        assert f"{error['path']}: {error['message']}" in printed


def test_lines_are_answered_as_they_come(case: dict[str, Any]) -> None:
    """The answer to a line is out before the next line is in: a program may converse."""
    sent, answered = os.pipe(), os.pipe()
    words = ("diagnose", "--ndjson", "-")
    process = Forked(words, os.environ, ROOT, (sent[0], answered[1], answered[1]))
    for end in (sent[0], answered[1]):
        os.close(end)
    with open(answered[0], "rb") as answers:
        with open(sent[1], "wb", buffering=0) as lines:
            for _ in range(3):
                lines.write(json.dumps(case).encode() + b"\n")
                assert json.loads(answers.readline())["causes"]
        assert process.wait(30) == 0
