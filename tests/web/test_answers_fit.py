"""The schema that documents an answer is held against real answers of every operation."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from api.answers import demos
from api.sums import SUMS
from api.web import BLUEPRINTS, case_examples, operations
from api.web.components import declared
from api.web.requests import JSON
from engine import Diagnoser, Knowledge
from tests.sweeps import swept
from tests.web.conftest import closed, labels

ONE_CIRCUIT = "duty=fuel-shutoff&control=controller-on-crank&coil=body-ground"
READ = [
    "/healthz", "/readyz", "/openapi.json", "/problems/bad-facts", "/v1/learning",
    "/v1/causes", "/v1/causes/ground-open", "/v1/checks", "/v1/checks/pull-current",
    "/v1/circuits", "/v1/circuits/fuel-shutoff-controller-on-crank", "/v1/rules", "/v1/sums",
    f"/v1/groups?level=phone&{ONE_CIRCUIT}", f"/v1/causes/ground-open/separators?{ONE_CIRCUIT}",
    "/v1/sums/winding-current", "/v1/cases?limit=1", "/v1/events?limit=3",
]  # fmt: skip
OF_A_CASE = ["", "/steps", "/diagnosis", "/work-order.json"]


@pytest.fixture(scope="module")
def service(app_of_module: Flask) -> Flask:
    """The application with a store."""
    return app_of_module


def sent(client: FlaskClient, knowledge: Knowledge, engine: Diagnoser) -> Iterator[Any]:
    """Send real requests, a whole case among them; give the responses."""
    for demo in swept(demos.load_all(), 4):
        yield client.post("/v1/diagnoses", json=demo.request)
        yield client.post("/v1/diagnoses?fields=causes,advice", json=demo.request)
    for one in SUMS.values():
        yield client.post(f"/v1/sums/{one.id}", json=dict(one.example))
    yield client.post("/v1/hearings", json=declared()["heard"])
    rows = "time,pull current\n" + "".join(f"{n / 1000},{n % 9}\n" for n in range(200))
    yield client.post("/v1/traces", data=rows, content_type="text/csv")
    address = ""
    for step in case_examples.story(engine, knowledge):
        path = step.address.replace("/v1/cases/{id}", address).replace("{place}", "2")
        headers = {"If-Match": "*"}
        answer = client.open(path, method=step.method, json=step.sent, headers=headers)
        yield answer
        address = answer.headers.get("Location", address)
        yield from (client.get(address + end) for end in OF_A_CASE)
        if step.name == "closing":
            said = {"number": answer.json["number"], "counts": "auto"}
            yield client.post("/v1/learning", json=said)
    rules = [f"/v1/rules/{rule}" for rule in list(knowledge.rules)[:5]]
    yield from (client.get(path) for path in [*READ, *rules])


@pytest.fixture(scope="module")
def answers(service: Flask, knowledge: Knowledge, engine: Diagnoser) -> dict[str, list[Any]]:
    """Real answers by method and path of the operation, as the document writes them."""
    found: dict[str, list[Any]] = {}
    for answer in sent(service.test_client(), knowledge, engine):
        assert 200 <= answer.status_code < 300, answer.text
        rule = (
            answer.request.path
            and service.url_map.bind("")
            .match(answer.request.path, method=answer.request.method, return_rule=True)[0]
            .rule
        )
        path = re.sub(r"<(?:\w+:)?(\w+?)_?>", r"{\1}", rule)
        found.setdefault(f"{answer.request.method} {path}", []).append(answer.json)
    return found


def told(service: Flask, label: str) -> operations.Operation:
    """Return what the decorator of an operation's view says."""
    method, path = label.split(" ")
    example = re.sub(r"\{.*?\}", "1", path)
    endpoint, _ = service.url_map.bind("").match(example, method=method)
    found = operations.operation_of(service.view_functions[endpoint])
    assert found is not None
    return found


@pytest.mark.parametrize("label", labels(*BLUEPRINTS))
def test_answers_are_as_the_schema_says(
    service: Flask, answers: dict[str, list[Any]], label: str
) -> None:
    """Each operation's real answers are as /openapi.json says, with no key beside."""
    operation = told(service, label)
    if operation.mimetype != JSON:
        assert operation.answer is None
        return
    assert operation.answer is not None
    assert answers[label]
    document = service.extensions["threewire"].cache["openapi"]
    method, path = label.split(" ")
    response = document["paths"][path][method.lower()]["responses"][str(operation.status)]
    schema = response["content"][JSON]["schema"]
    components = closed(document["components"])
    validator = Draft202012Validator(schema | {"components": components})
    for answer in answers[label]:
        validator.validate(answer)
