"""An independent tester reads /openapi.json and tries to catch the service breaking its word."""

from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi import checks

from api.web import BLUEPRINTS
from tests.sweeps import swept
from tests.web.conftest import labels

pytestmark = pytest.mark.slow
OPERATIONS = [
    label
    for label in labels(*BLUEPRINTS)
    if label != "GET /openapi.json"  # the tester leaves out the document that it read
]
# That every request which fits the schema is answered is not promised: whether an outcome or a unit
# fits a check is in the knowledge base, and the answer to one that does not is a documented 422.
NOT_PROMISED = [checks.positive_data_acceptance]


@schemathesis.serializer("application/x-ndjson", "text/csv", "audio/wav")
def lines(_: object, value: Any) -> bytes:
    """Send what the tester makes up as the lines of a batch, or as a recording."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "surrogatepass")


@pytest.fixture(scope="module")
def app(app_of_module: Flask) -> Flask:
    """The application with a store; tests/cases sends to cases that exist."""
    return app_of_module


@pytest.fixture(scope="module")
def operations(app: Flask) -> dict[str, Any]:
    """The operations of the served document, loaded over WSGI."""
    schema = schemathesis.openapi.from_wsgi("/openapi.json", app)
    found = [result.ok() for result in schema.get_all_operations()]
    return {operation.label: operation for operation in found}


def test_tester_sees_every_operation(operations: dict[str, Any]) -> None:
    """The independent reader of the document finds the operations that the resources declare."""
    assert sorted(operations) == sorted(OPERATIONS)


def modes() -> list[Any]:
    """Return each operation with good requests, and with bad ones where there can be any."""
    nothing_to_spoil = (  # they take no more than a free text
        "GET /healthz",
        "GET /readyz",
        "GET /metrics",
        "GET /v1/learning",
        "GET /v1/sums",
        "GET /reference/style.css",
        "GET /reference/groups.html",
        "POST /v1/diagnoses/batch",  # any text is lines; a bad one is answered in its place
        "POST /v1/cases/import",
    )
    return [
        pytest.param(label, mode, id=f"{label} {mode.value}")
        for label in OPERATIONS
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
        if mode is GenerationMode.POSITIVE or label not in nothing_to_spoil
    ]


@pytest.mark.parametrize(("label", "mode"), swept(modes(), 8))
def test_service_keeps_its_word(
    operations: dict[str, Any], label: str, mode: GenerationMode, enlarged: Callable[[int], int]
) -> None:
    """No generated request gets a 500, or an answer that the document does not describe."""

    @settings(
        max_examples=enlarged(1), derandomize=True, deadline=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operations[label].as_strategy(generation_mode=mode))
    def send(case: schemathesis.Case) -> None:
        case.call_and_validate(excluded_checks=NOT_PROMISED)

    send()
