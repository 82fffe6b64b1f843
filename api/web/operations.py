"""The pieces of which each resource describes its operations for /openapi.json."""

from collections.abc import Mapping, Sequence
from typing import Any

Operation = dict[str, Any]

_REQUEST_ID = {"$ref": "#/components/parameters/RequestId"}


def _returns(schema: str, description: str) -> dict[str, Any]:
    """Return a 200 response that carries ``schema`` as JSON."""
    return {
        "description": description,
        "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
        "content": {"application/json": {"schema": {"$ref": f"#/components/schemas/{schema}"}}},
    }


def _refusals(*names: str) -> dict[str, Any]:
    """Return references to problem responses, by their status."""
    return {name: {"$ref": f"#/components/responses/{name}"} for name in names}


def _get(
    operation_id: str, summary: str, schema: str, refusals: Sequence[str], *parameters: Operation
) -> Operation:
    """Return a GET operation: its answer may be 304, and a strange query is refused with 422."""
    responses = {"200": _returns(schema, summary), "304": {"description": "Not changed."}}
    return {
        "operationId": operation_id,
        "summary": summary,
        "parameters": [*parameters, _REQUEST_ID],
        "responses": responses | _refusals(*refusals, "406", "422", "500"),
    }


def _path_parameter(name: str, description: str) -> Operation:
    return {
        "name": name,
        "in": "path",
        "required": True,
        "description": description,
        "schema": {"type": "string", "pattern": "^[a-z0-9-]+$"},
    }


def list_operation(
    plural: str, name: str, filters: Mapping[str, Sequence[str]], summary: str
) -> Operation:
    """Describe a list with its filters."""
    parameters = [
        {
            "name": field,
            "in": "query",
            "required": False,
            "description": f"Only those that fit this {field}.",
            "schema": {"type": "string", "enum": list(values)},
        }
        for field, values in filters.items()
    ]
    schema = f"{plural.capitalize()}List"
    return _get(f"list{name}s", summary, schema, (), *parameters) | {"tags": ["knowledge"]}


def item_operation(plural: str, name: str) -> Operation:
    """Describe one item of a list."""
    parameter = _path_parameter("id", f"Id of one of the {plural}.")
    summary = f"One of the {plural}."
    return _get(f"get{name}", summary, name, ("404",), parameter) | {"tags": ["knowledge"]}


def knowledge_operation(
    operation_id: str,
    summary: str,
    schema: str,
    filters: Mapping[str, Sequence[str]],
    one: str = "",
) -> Operation:
    """Describe something worked out from the knowledge; ``one`` is the plural of what it is of."""
    parameters = [_path_parameter("id", f"Id of one of the {one}.")] if one else []
    parameters += [
        text_parameter(field, f"Only what fits this {field}.", members=values)
        for field, values in filters.items()
    ]
    refusals = ("404",) if one else ()
    operation = _get(operation_id, summary, schema, refusals, *parameters)
    return operation | {"tags": ["knowledge"]}


def text_parameter(
    name: str,
    description: str,
    most: int | None = None,
    members: Sequence[str] = (),
    where: str = "query",
) -> Operation:
    """Describe a parameter that is text: of at most so many letters, or one of a closed set."""
    schema: dict[str, Any] = {"type": "string"}
    if most is not None:
        schema["maxLength"] = most
    if members:
        schema["enum"] = list(members)
    elif where == "path":
        schema["pattern"] = "^[a-z0-9-]+$"
    return {
        "name": name,
        "in": where,
        "required": where == "path",
        "description": description,
        "schema": schema,
    }


def page_operation(
    operation_id: str,
    summary: str,
    mimetype: str,
    *parameters: Operation,
    refusals: Sequence[str] = (),
) -> Operation:
    """Describe a GET that answers with a page for people, or with what a page needs."""
    content = {mimetype: {"schema": {"type": "string"}}}
    responses: dict[str, Any] = {
        "200": {
            "description": summary,
            "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
            "content": content,
        },
        "304": {"description": "Not changed."},
    }
    return {
        "operationId": operation_id,
        "tags": ["reference"],
        "summary": summary,
        "parameters": [*parameters, _REQUEST_ID],
        "responses": responses | _refusals(*refusals, "422", "500"),
    }


def diagnose_operation() -> Operation:
    """Describe the diagnosis; its examples are put in by api.web.openapi."""
    body = {"application/json": {"schema": {"$ref": "#/components/schemas/Request"}}}
    return {
        "operationId": "diagnose",
        "tags": ["diagnosis"],
        "summary": "Diagnose one machine from what was found on it.",
        "description": "Nothing is kept. The same request gives the same answer, byte for byte.",
        "parameters": [_REQUEST_ID],
        "requestBody": {
            "required": True,
            "description": "The machine and the findings; at most 1 MiB of JSON in UTF-8.",
            "content": body,
        },
        "responses": {"200": _returns("Answer", "The diagnosis.")}
        | _refusals("400", "406", "413", "415", "422", "500"),
    }


def batch_operation() -> Operation:
    """Describe the diagnosis of many machines, one a line."""
    lines = {"application/x-ndjson": {"schema": {"type": "string"}}}
    answers = (
        "One answer a line, in the order of the requests; a bad line is answered in its place "
        "with a problem document that has its number as `line`."
    )
    return {
        "operationId": "diagnoseBatch",
        "tags": ["diagnosis"],
        "summary": "Diagnose many machines: one request a line in, one answer a line out.",
        "description": "Answers come while lines are still being sent: read them meanwhile. "
        "Nothing is kept.",
        "parameters": [_REQUEST_ID],
        "requestBody": {
            "required": True,
            "description": "One request a line, as /v1/diagnoses takes it; at most 1 MiB each.",
            "content": lines,
        },
        "responses": {
            "200": {
                "description": answers,
                "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
                "content": lines,
            }
        }
        | _refusals("406", "415", "422", "500"),
    }


def description_operation() -> Operation:
    """Describe this document."""
    operation = _get("describe", "This document.", "Description", ())
    return operation | {"tags": ["service"]}


def health_operation() -> Operation:
    """Describe the liveness probe."""
    return _get("alive", "The process answers.", "Alive", ()) | {"tags": ["service"]}


def ready_operation() -> Operation:
    """Describe the readiness probe."""
    operation = _get("ready", "Every circuit gives an answer.", "Ready", ("503",))
    return operation | {"tags": ["service"]}


def problem_operation() -> Operation:
    """Describe the page that a problem's ``type`` points to."""
    parameter = _path_parameter("kind", "Last part of a problem's type.")
    operation = _get("problem", "What a problem means.", "ProblemKind", ("404",), parameter)
    return operation | {"tags": ["service"]}
