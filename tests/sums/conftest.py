"""The three doors to a sum, each as a function from a sum and its inputs to the answer."""

import json
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from click.testing import Result
from flask.testing import FlaskClient

from api.sums import compute
from engine import Knowledge

Work = Callable[[str, Mapping[str, Any]], dict[str, Any]]


def words(given: Mapping[str, Any]) -> list[str]:
    """Return inputs as a person types them."""
    return [f"{name}={value}" for name, value in given.items()]


@pytest.fixture
def doors(knowledge: Knowledge, client: FlaskClient, run: Callable[..., Result]) -> dict[str, Work]:
    """The function, the service and the command."""

    def post(name: str, given: Mapping[str, Any]) -> dict[str, Any]:
        response = client.post(f"/v1/sums/{name}", json=dict(given))
        assert response.status_code == 200, response.data
        found: dict[str, Any] = response.json
        return found

    def command(name: str, given: Mapping[str, Any]) -> dict[str, Any]:
        done = run("sum", name, "--json", *words(given))
        assert done.exit_code == 0, done.output
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    return {
        "function": lambda name, given: compute(knowledge, name, given),
        "http": post,
        "command": command,
    }


def figures(answer: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of an answer by their ids."""
    return {one["id"]: one["value"] for one in answer["results"]}
