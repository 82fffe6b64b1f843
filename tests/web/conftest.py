"""One application on the shipped knowledge base for all these tests."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from flask import Blueprint, Flask
from flask.testing import FlaskClient

from api.answers import demos
from api.web import operations


def labels(*blueprints: Blueprint) -> list[str]:
    """Return method and path of every operation that the blueprints have."""
    bare = Flask(__name__, static_folder=None)
    for blueprint in blueprints:
        bare.register_blueprint(blueprint)
    return [f"{method.upper()} {path}" for path, method, _ in operations.described(bare)]


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
