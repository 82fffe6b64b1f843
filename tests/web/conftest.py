"""One application on the shipped knowledge base for all these tests."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from flask import Blueprint, Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from api.answers import demos
from api.web import operations


def labels(*blueprints: Blueprint) -> list[str]:
    """Return method and path of every operation that the blueprints have."""
    bare = Flask(__name__, static_folder=None)
    for blueprint in blueprints:
        bare.register_blueprint(blueprint)
    return [f"{method.upper()} {path}" for path, method, _ in operations.described(bare)]


def closed(value: Any) -> Any:
    """Return a document whose objects take no key that they do not tell of."""
    if isinstance(value, list):
        return [closed(one) for one in value]
    if not isinstance(value, dict):
        return value
    found = {key: closed(one) for key, one in value.items()}
    is_object = found.get("type") == "object" and "properties" in found
    return ({"additionalProperties": False} if is_object else {}) | found


@pytest.fixture(scope="session")
def told(app: Flask) -> Callable[[str], Draft202012Validator]:
    """Return what holds an answer to a component of the served document, and to no key beside."""
    components = closed(app.test_client().get("/openapi.json").json["components"])

    def of(name: str) -> Draft202012Validator:
        return Draft202012Validator(
            {"$ref": f"#/components/schemas/{name}", "components": components}
        )

    return of


@pytest.fixture(scope="session")
def case() -> dict[str, Any]:
    """A request that can be answered."""
    return demos.load_all()[0].request


@pytest.fixture
def post(client: FlaskClient) -> Callable[..., Any]:
    """Post bytes or data as JSON to the diagnosis."""

    def send(body: Any, **kwargs: Any) -> Any:
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        kwargs.setdefault("content_type", "application/json")
        return client.post("/v1/diagnoses", data=raw, **kwargs)

    return send
