"""A sum worked by the function and by the command."""

import json
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from click.testing import Result

from api.sums import compute
from engine import Knowledge

Work = Callable[[str, Mapping[str, Any]], dict[str, Any]]


def words(given: Mapping[str, Any]) -> list[str]:
    """Return inputs as a person types them."""
    return [f"{name}={value}" for name, value in given.items()]


@pytest.fixture
def doors(knowledge: Knowledge, run: Callable[..., Result]) -> dict[str, Work]:
    """The function and the command, each from a sum and its inputs to the answer."""

    def command(name: str, given: Mapping[str, Any]) -> dict[str, Any]:
        done = run("sum", name, "--json", *words(given))
        assert done.exit_code == 0, done.output
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    return {
        "function": lambda name, given: compute(knowledge, name, given),
        "command": command,
    }


def figures(answer: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of an answer by their ids."""
    return {one["id"]: one["value"] for one in answer["results"]}


@pytest.fixture
def worked(knowledge: Knowledge) -> Work:
    """The values of a sum's answer by their ids."""
    return lambda name, given: figures(compute(knowledge, name, given))
