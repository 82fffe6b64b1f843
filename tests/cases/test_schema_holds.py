"""An independent tester sends what it makes up to cases that exist."""

from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi import checks

from api.web import cases
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS
from tests.sweeps import swept
from tests.web.conftest import labels

pytestmark = pytest.mark.slow
OPERATIONS = labels(cases.blueprint)
# Whether an outcome or a unit fits a check is in the knowledge base, not in the schema.
NOT_PROMISED = [checks.positive_data_acceptance]
NOTHING_TO_SPOIL = [
    one
    for one in OPERATIONS
    if one == "GET /v1/learning" or (one.startswith("GET") and "{id}" in one and "steps" not in one)
]  # they take no more than a number and free texts
TO_SPOIL = [one for one in OPERATIONS if one not in NOTHING_TO_SPOIL]
MODES = [(one, GenerationMode.POSITIVE) for one in OPERATIONS] + [
    (one, GenerationMode.NEGATIVE) for one in TO_SPOIL
]


@pytest.fixture(scope="module")
def app(app_of_module: Flask) -> Flask:
    """The service on one store, to which all requests go."""
    return app_of_module


@pytest.fixture(scope="module")
def operations(app: Flask) -> dict[str, Any]:
    """The operations of the served document."""
    schema = schemathesis.openapi.from_wsgi("/openapi.json", app)
    return {one.ok().label: one.ok() for one in schema.get_all_operations()}


@pytest.mark.parametrize(("label", "mode"), swept(MODES, 8))
def test_cases_keep_their_word(
    operations: dict[str, Any], client: FlaskClient, label: str, mode: GenerationMode,
    enlarged: Callable[[int], int],
) -> None:  # fmt: skip
    """No made-up request to a case gets a 500, or an answer that the document does not describe."""

    @settings(
        max_examples=enlarged(1), derandomize=True, deadline=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operations[label].as_strategy(generation_mode=mode))
    def send(case: schemathesis.Case) -> None:
        if "id" in (case.path_parameters or {}):
            opening: dict[str, Any] = {"machine": MACHINE, "findings": [CRANKS, VOLTS, AMPS]}
            address = client.post("/v1/cases", json=opening).headers["Location"]
            if label.endswith("/reopen"):
                ended = {"cause": "healthy"}
                client.post(f"{address}/close", json=ended, headers={"If-Match": "*"})
            if "place" in case.path_parameters and mode is GenerationMode.POSITIVE:
                case.path_parameters["place"] %= 5
            case.path_parameters["id"] = address.rsplit("/", 1)[1]
        if case.headers and "If-Match" in case.headers:
            case.headers["If-Match"] = "*"  # a made-up tag is always stale, and nothing is tried
        case.call_and_validate(excluded_checks=NOT_PROMISED)

    send()
