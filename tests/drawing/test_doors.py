"""The drawing over HTTP and from the command line."""

import base64
import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from api.cli.main import threewire
from api.drawing import circuit_svg, stylesheet, svg
from engine import Diagnoser, Knowledge
from tests.drawing.conftest import SHAPES

REQUEST = {
    "machine": {"duty": "brake-release", "control": "ignition-timed", "coil": "case-ground"},
    "findings": [{"check": "pull-pin-voltage", "value": 10.9, "unit": "V"}],
}
SVG = "image/svg+xml"
CIRCUIT = "/v1/circuits/fuel-shutoff-ignition-timed.svg"


@pytest.mark.parametrize("shape", SHAPES)
def test_post_answers_with_the_drawing(
    client: FlaskClient, knowledge: Knowledge, engine: Diagnoser, shape: str
) -> None:
    """The request of a diagnosis is answered with its drawing, all causes weighed."""
    response = client.post(f"/v1/drawings?shape={shape}", json=REQUEST)
    assert (response.status_code, response.mimetype) == (200, SVG)
    answer = engine.diagnose({**REQUEST, "limit": 0})
    assert response.text == svg(knowledge, REQUEST, answer, shape=shape)


def test_its_style_is_let_through_and_nothing_else(client: FlaskClient) -> None:
    """The policy names the digest of the style sheet (CSP Level 3, hash-source)."""
    digest = base64.b64encode(hashlib.sha256(stylesheet().encode()).digest()).decode()
    response = client.get(CIRCUIT)
    assert f"<style>{stylesheet()}</style>" in response.text
    policy = response.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert f"style-src 'sha256-{digest}';" in policy


@pytest.mark.parametrize(
    ("query", "body", "kind", "status", "place"),
    [
        ("", b"{", "application/json", 400, ""),
        ("", b"[]", "application/json", 422, ""),
        ("", b'{"machine": {}, "limit": "x"}', "application/json", 422, "limit"),
        ("?shape=round", b"{}", "application/json", 422, "query.shape"),
        ("?form=tall", b"{}", "application/json", 422, "query.form"),
        ("", b"{}", "text/plain", 415, ""),
        ("", b" " * (1024 * 1024 + 1), "application/json", 413, ""),
        ("?side=left", json.dumps(REQUEST).encode(), "application/json", 422, "query.side"),
    ],
)  # fmt: skip
def test_refusals_are_problems(  # noqa: PLR0917 - one case a line
    client: FlaskClient, query: str, body: bytes, kind: str, status: int, place: str
) -> None:
    """What cannot be drawn is refused as a diagnosis refuses it, with the place of the fault."""
    response = client.post(f"/v1/drawings{query}", data=body, content_type=kind)
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    problem = response.get_json(force=True)
    assert not place or place in [one["path"] for one in problem["errors"]]


@pytest.mark.parametrize(("method", "path"), [("POST", "/v1/drawings"), ("GET", CIRCUIT)])
def test_who_wants_no_svg_gets_none(client: FlaskClient, method: str, path: str) -> None:
    """A caller who takes only JSON is told what there is (RFC 9110, 15.5.7)."""
    headers = {"Accept": "application/json"}
    response = client.open(
        path, method=method, headers=headers, json=REQUEST if method == "POST" else None
    )
    assert response.status_code == 406
    assert SVG in response.get_json(force=True)["detail"]


def test_a_side_can_be_chosen(client: FlaskClient) -> None:
    """With two solenoids the side that is asked for is drawn."""
    findings = [
        {"check": "pull-pin-voltage", "value": 10.9, "unit": "V", "side": "left"},
        {"check": "hold-pin-voltage", "value": 3.3, "unit": "V", "side": "right"},
    ]
    machine = REQUEST["machine"] | {"solenoids": 2}  # type: ignore[operator]
    body = {"machine": machine, "findings": findings}
    left, right = (client.post(f"/v1/drawings?side={one}", json=body) for one in ("left", "right"))
    assert "Left side" in left.text
    assert "Right side" in right.text


def test_a_healthy_circuit_is_drawn(client: FlaskClient, knowledge: Knowledge) -> None:
    """The circuit comes in the coil style and shape asked for, and may be kept by its tag."""
    response = client.get(f"{CIRCUIT}?coil=body-ground&shape=tall")
    wanted = circuit_svg(knowledge, "fuel-shutoff-ignition-timed", "body-ground", shape="tall")
    assert (response.status_code, response.text) == (200, wanted)
    again = client.get(response.request.url, headers={"If-None-Match": response.headers["ETag"]})
    assert again.status_code == 304
    assert "Coil style not known" in client.get(CIRCUIT).text


def test_a_wrong_circuit_names_the_nearest(client: FlaskClient) -> None:
    """A slip in the id is answered with the id that was meant."""
    response = client.get("/v1/circuits/fuel-shutof-ignition-timed.svg")
    assert response.status_code == 404
    assert "'fuel-shutoff-ignition-timed'" in response.get_json(force=True)["detail"]


def test_the_plain_circuit_is_still_there(client: FlaskClient) -> None:
    """The same path without .svg answers with the data."""
    response = client.get(CIRCUIT.removesuffix(".svg"))
    assert response.json is not None
    assert response.json["id"] == "fuel-shutoff-ignition-timed"


def test_command_writes_what_the_service_answers(client: FlaskClient, tmp_path: Path) -> None:
    """The command draws the same picture, to standard output or into a file."""
    served = client.post("/v1/drawings?shape=tall", json=REQUEST).text
    runner = CliRunner()
    said = runner.invoke(threewire, ["draw", "-", "--shape", "tall"], input=json.dumps(REQUEST))
    assert (said.exit_code, said.stdout) == (0, f"{served}\n")
    target = tmp_path / "case.svg"
    source = tmp_path / "case.json"
    source.write_text(json.dumps(REQUEST), encoding="utf-8")
    done = runner.invoke(threewire, ["draw", str(source), "--shape", "tall", "-o", str(target)])
    assert (done.exit_code, done.output) == (0, "")
    assert target.read_text(encoding="utf-8") == f"{served}\n"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["draw", "-"], "machine: is missing"),
        (["draw", "nowhere.yaml"], "nowhere.yaml: No such file or directory"),
    ],
)
def test_command_says_what_is_wrong(arguments: list[str], told: str) -> None:
    """A bad request ends with exit status 1 and the place of the fault, not with a drawing."""
    said = CliRunner().invoke(threewire, arguments, input="{}")
    assert said.exit_code == 1
    assert told in said.stderr
    assert said.stdout == ""


def test_command_says_when_it_cannot_write(tmp_path: Path) -> None:
    """A folder that is not there is named."""
    target = tmp_path / "no" / "case.svg"
    said = CliRunner().invoke(
        threewire, ["draw", "-", "-o", str(target)], input=json.dumps(REQUEST)
    )
    assert said.exit_code == 1
    assert "No such file or directory" in said.stderr


def test_command_says_when_there_is_no_such_side() -> None:
    """A side that no finding names cannot be drawn."""
    said = CliRunner().invoke(threewire, ["draw", "-", "--side", "left"], input=json.dumps(REQUEST))
    assert said.exit_code == 1
    assert "no finding" in said.stderr
