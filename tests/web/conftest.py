"""One application on the shipped knowledge base for all these tests."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from flask import Flask
from flask.testing import FlaskClient

from api import create_app
from api.answers import demos
from api.cli.main import threewire
from engine import Diagnoser, Knowledge


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
