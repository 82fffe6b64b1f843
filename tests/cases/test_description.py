"""What /openapi.json says of cases is what the service does."""

from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from api.web import case_examples
from engine import Diagnoser, Knowledge

TIMES = ("at", "opened_at", "changed_at")


def plain(value: Any) -> Any:
    """Return an answer without its number and its times, which are chance."""
    if isinstance(value, list):
        return [plain(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {key: plain(one) for key, one in value.items() if key not in (*TIMES, "number")}


def replayed(client: FlaskClient, one: case_examples.Example, address: str) -> Any:
    """Send one request of the story to the case that it is about."""
    path = one.address.replace("/v1/cases/{id}", address).replace("{place}", "2")
    return client.open(path, method=one.method, json=one.sent, headers={"If-Match": "*"})


def test_the_story_is_replayed(
    client: FlaskClient, engine: Diagnoser, knowledge: Knowledge
) -> None:
    """Each example request, sent in its turn, gets the example answer beside it."""
    address, served = "", client.get("/openapi.json").json
    for one in case_examples.story(engine, knowledge):
        operation = served["paths"][one.address][one.method]
        status, about = next(iter(operation["responses"].items()))
        content = about["content"]["application/json"]
        response = replayed(client, one, address)
        assert response.status_code == int(status), response.text
        address = response.headers.get("Location", address)
        assert plain(response.json) == plain(content["examples"][one.name]["value"])
        if one.sent is not None:
            sent = operation["requestBody"]["content"]["application/json"]["examples"]
            assert sent[one.name]["value"] == one.sent


def test_requests_of_the_story_fit_their_schema(app: Flask, client: FlaskClient) -> None:
    """The schemas of what is sent take every example, and nothing with a strange field."""
    served = client.get("/openapi.json").json
    checked = 0
    for item in served["paths"].values():
        for operation in item.values():
            body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
            for example in body.get("examples", {}).values():
                schema = body["schema"] | {"components": served["components"]}
                validator = Draft202012Validator(schema)
                validator.validate(example["value"])
                assert not validator.is_valid(example["value"] | {"strange": 1})
                checked += 1
    assert checked >= 7
