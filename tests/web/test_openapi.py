"""The description is valid, complete and true."""

import importlib
import json
import re
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import Any

import httpx
import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from api.web.components import declared


@pytest.fixture(scope="module")
def document(app: Flask) -> dict[str, Any]:
    """The document as it is served."""
    served: dict[str, Any] = app.test_client().get("/openapi.json").json
    return served


def schema(document: dict[str, Any], name: str) -> Draft202012Validator:
    """Return a validator for a component (OpenAPI 3.1 schemas are JSON Schema 2020-12)."""
    root = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    return Draft202012Validator(root)


def test_document_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    """An independent validator takes the document as OpenAPI 3.1."""
    from openapi_spec_validator import validate  # slow to load

    assert document["openapi"].startswith("3.1.")
    validate(document)


def test_every_route_is_described_and_nothing_else(app: Flask, document: dict[str, Any]) -> None:
    """The document has exactly the paths and methods that the application serves to programs."""
    served = {
        (re.sub(r"<(\w+?)_?>", r"{\1}", str(rule)), method.lower())
        for rule in app.url_map.iter_rules()
        if not rule.endpoint.startswith("desk.")  # pages for people, which take forms
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    described = {(path, method) for path, item in document["paths"].items() for method in item}
    assert described == served


def test_everything_is_described_in_words(document: dict[str, Any]) -> None:
    """Every schema and every field of the answer says what it is."""
    for name, component in document["components"]["schemas"].items():
        assert component["description"], name
        for field, about in component.get("properties", {}).items():
            assert about.get("description"), f"{name}.{field}"


def test_every_word_of_the_glossary_is_said(document: dict[str, Any]) -> None:
    """What is told of one component's field, or of a field of any name, is of one that there is."""
    there = {
        name
        for component, about in document["components"]["schemas"].items()
        for field in about.get("properties", {})
        for name in (field, f"{component}.{field}")
    }
    assert set(declared("glossary")) - there == set()


def test_examples_are_replayed(client: FlaskClient, document: dict[str, Any]) -> None:
    """Each example request, sent as it stands, gets the example answer beside it."""
    operation = document["paths"]["/v1/diagnoses"]["post"]
    sent = operation["requestBody"]["content"]["application/json"]["examples"]
    told = operation["responses"]["200"]["content"]["application/json"]["examples"]
    assert list(sent) == list(told)
    assert len(sent) >= 3
    for name, example in sent.items():
        schema(document, "Request").validate(example["value"])
        response = client.post("/v1/diagnoses", json=example["value"])
        assert response.status_code == 200
        assert response.json == told[name]["value"]
        schema(document, "Answer").validate(response.json)


def test_refusal_example_is_what_is_sent(client: FlaskClient, document: dict[str, Any]) -> None:
    """The documented 422 body is the body of a real refusal."""
    content = document["components"]["responses"]["422"]["content"]["application/problem+json"]
    got = client.post("/v1/diagnoses", json=declared()["bad_request"]).get_json(force=True)
    assert got | {"request_id": ""} == content["example"] | {"request_id": ""}
    assert got["errors"]


def test_problem_examples_fit_their_schema(document: dict[str, Any]) -> None:
    """Every documented problem has its own status and fits the problem schema."""
    for status, response in document["components"]["responses"].items():
        example = response["content"]["application/problem+json"]["example"]
        schema(document, "Problem").validate(example)
        assert str(example["status"]) == status


def test_request_schema_refuses_unknown_fields(document: dict[str, Any]) -> None:
    """The document says, as the engine does, that a request takes no unknown fields."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "unknown"}
    good = {"machine": machine, "findings": []}
    validator = schema(document, "Request")
    assert validator.is_valid(good)
    assert not validator.is_valid(good | {"extra": 1})
    assert not validator.is_valid(good | {"machine": machine | {"extra": 1}})
    assert not validator.is_valid(good | {"findings": [{"check": "pull-current", "extra": 1}]})


def test_a_unit_is_listed_in_one_spelling_and_taken_in_both(
    client: FlaskClient, document: dict[str, Any], case: dict[str, Any]
) -> None:
    """Names that a generator makes of the units do not collide (NFKC); either micro is taken."""
    units = document["components"]["schemas"]["Finding"]["properties"]["unit"]["enum"]
    assert len({unicodedata.normalize("NFKC", unit) for unit in units}) == len(units)
    answers = []
    for micro in ("\u00b5", "\u03bc"):
        finding = {"check": "pull-pin-voltage", "value": 11.4e6, "unit": f"{micro}V"}
        answer = client.post("/v1/diagnoses", json=case | {"findings": [finding]}).json
        answers.append(answer["causes"][0]["id"])
    assert answers[0] == answers[1]


def test_document_is_the_same_each_time(client: FlaskClient) -> None:
    """The document does not change while the service runs."""
    assert client.get("/openapi.json").data == client.get("/openapi.json").data


def test_document_names_no_machine(document: dict[str, Any]) -> None:
    """Nothing of the machine that built it, such as a path, is in the document."""
    text = json.dumps(document)
    assert "/home/" not in text
    assert "site-packages" not in text


def test_a_generator_makes_a_client_that_works(
    app: Flask, document: dict[str, Any], case: dict[str, Any], tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """openapi-python-client writes every operation that sends JSON or nothing, sums with their wire
    sizes too, and its diagnosis is the service's own."""
    (tmp_path / "openapi.json").write_text(json.dumps(document), encoding="utf-8")
    command = "generate --path openapi.json --output-path made --meta none"
    subprocess.run(
        [sys.executable, "-m", "openapi_python_client", *command.split()], cwd=tmp_path, check=True,
        capture_output=True,
    )  # fmt: skip
    written = {one.stem for one in (tmp_path / "made" / "api").rglob("*.py")} - {"__init__"}
    named = {
        re.sub(r"(?=[A-Z])", "_", operation["operationId"]).lower()
        for item in document["paths"].values()
        for method, operation in item.items()
        if method != "parameters"
    }
    assert named - written == {"diagnose_batch", "import_cases", "read_trace"}
    monkeypatch.syspath_prepend(str(tmp_path))
    made = importlib.import_module("made")
    asked = importlib.import_module("made.api.diagnosis.diagnose")
    body = importlib.import_module("made.models").Request.from_dict(case)
    client = made.Client(base_url="http://localhost")
    client.set_httpx_client(
        httpx.Client(transport=httpx.WSGITransport(app=app), base_url="http://localhost")
    )
    answer = asked.sync(client=client, body=body)
    assert answer.to_dict() == app.test_client().post("/v1/diagnoses", json=case).json
