"""One application on the shipped knowledge base for all these tests."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from flask import Blueprint, Flask
from flask.testing import FlaskClient

from api import create_app
from api.answers import demos
from api.cli.main import threewire
from api.web import operations
from engine import Diagnoser, Knowledge


def labels(*blueprints: Blueprint) -> list[str]:
    """Return method and path of every operation that the blueprints have."""
    bare = Flask(__name__, static_folder=None)
    for blueprint in blueprints:
        bare.register_blueprint(blueprint)
    return [f"{method.upper()} {path}" for path, method, _ in operations.described(bare)]


@pytest.fixture(scope="session")
def app(knowledge: Knowledge, engine: Diagnoser) -> Flask:
    """The application on the real engine."""
    return create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine})


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """A client that sees a fault of the service as its callers do: as an answer."""
    return app.test_client()


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


@pytest.fixture
def run() -> Callable[..., Result]:
    """Run the command line in this process."""

    def call(*arguments: str | Path, stdin: bytes | str | None = None) -> Result:
        return CliRunner().invoke(threewire, [str(one) for one in arguments], input=stdin)

    return call
