"""What /openapi.json says of the cases."""

from collections.abc import Sequence
from typing import Any

from api.cases import lists
from api.web.operations import Operation, text_parameter

_JSON = "application/json"
_REQUEST_ID = {"$ref": "#/components/parameters/RequestId"}
_NUMBER: Operation = {
    "name": "id",
    "in": "path",
    "required": True,
    "description": "Number of the case; a gap, dots or hyphens between its digits do not matter.",
    "schema": {"type": "string", "pattern": r"^\d{4}[ .-]?\d{4}$"},
}
_PLACE: Operation = {
    "name": "place",
    "in": "path",
    "required": True,
    "description": "Place of the finding in the case, counted from 1.",
    "schema": {"type": "integer", "minimum": 1, "maximum": 1000},
}


def _header(name: str, description: str, required: bool = False, **schema: Any) -> Operation:
    return {"name": name, "in": "header", "required": required, "description": description,
            "schema": {"type": "string", **schema}}  # fmt: skip


_KEY = _header(
    "Idempotency-Key",
    "A new random text for each thing to be done. Sent again with the same request within a day, "
    "it gives the kept answer and does nothing.",
    pattern="^[!-~]+$",
    minLength=1,
    maxLength=255,
)
_IF_MATCH = _header("If-Match", "ETag of the case as you have seen it: refused when it changed.")
_MUST_MATCH = _header("If-Match", "ETag of the case as you have seen it, or '*'.", required=True)
_IF_NONE = _header("If-None-Match", "ETag of what you have: answered with 304 when it is the same.")
_SENT_HEADERS = {
    "X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"},
    "ETag": {"description": "Version of what is sent.", "schema": {"type": "string"}},
}


def _refusals(names: Sequence[str]) -> dict[str, Any]:
    return {name: {"$ref": f"#/components/responses/{name}"} for name in names}


def _returns(schema: str, description: str, mimetype: str = _JSON) -> dict[str, Any]:
    found = {"$ref": f"#/components/schemas/{schema}"} if schema else {"type": "string"}
    return {
        "description": description,
        "headers": dict(_SENT_HEADERS),
        "content": {mimetype: {"schema": found}},
    }


def _get(
    operation_id: str, summary: str, schema: str, *parameters: Operation, one: bool = True,
    mimetype: str = _JSON,
) -> Operation:  # fmt: skip
    refused = ("404",) if one else ()
    seen = {"304": {"description": "Not changed.", "headers": dict(_SENT_HEADERS)}}
    return {
        "operationId": operation_id,
        "tags": ["cases"],
        "summary": summary,
        "parameters": [*((_NUMBER,) if one else ()), *parameters, _IF_NONE, _REQUEST_ID],
        "responses": {"200": _returns(schema, summary, mimetype)}
        | seen
        | _refusals((*refused, "406", "422", "500", "503")),
    }


def _write(
    operation_id: str, summary: str, body: Any, *parameters: Operation, status: str = "200",
    refused: Sequence[str] = ("404", "409", "412"),
) -> Operation:  # fmt: skip
    answer = _returns("Case", summary)
    if _KEY in parameters:
        answer["headers"]["Idempotent-Replayed"] = {
            "description": "'true' when this is the kept answer to the same Idempotency-Key.",
            "schema": {"const": "true", "type": "string"},
        }
    if status == "201":
        about = {"description": "Address of the case.", "schema": {"type": "string"}}
        answer["headers"]["Location"] = about
    schema = {"$ref": f"#/components/schemas/{body}"} if isinstance(body, str) else body
    return {
        "operationId": operation_id,
        "tags": ["cases"],
        "summary": summary,
        "parameters": [*parameters, _REQUEST_ID],
        "requestBody": {
            "required": True,
            "description": "JSON in UTF-8, at most 1 MiB.",
            "content": {_JSON: {"schema": schema}},
        },
        "responses": {status: answer}
        | _refusals(("400", *refused, "406", "413", "415", "422", "500", "503")),
    }


_FINDINGS = {
    "anyOf": [
        {"$ref": "#/components/schemas/FindingSent"},
        {"$ref": "#/components/schemas/FindingListSent"},
    ]
}


def _whole(name: str, description: str, low: int, high: int, default: int) -> Operation:
    schema = {"type": "integer", "minimum": low, "maximum": high, "default": default}
    return {"name": name, "in": "query", "required": False, "description": description,
            "schema": schema}  # fmt: skip


_FILTERS = (
    text_parameter("state", "Only open or only closed cases.", members=lists.STATES),
    text_parameter("fleet_number", "Only this machine; the whole number as it was written.", 40),
    text_parameter("text", "Words that all stand in the case, in any case of letters: number, "
                   "fleet number, type, reference, complaint, who has it, who opened it.", 200),
    text_parameter("cursor", "next_cursor of the page before, with the same filters.", 200),
    _whole("limit", "Cases on one page.", 1, lists.MOST, lists.DEFAULT),
)  # fmt: skip

OPERATIONS: dict[tuple[str, str], Operation] = {
    ("/v1/cases", "post"): _write(
        "openCase", "Open a case.", "CaseOpening", _KEY, status="201", refused=()
    ),
    ("/v1/cases", "get"): _get(
        "listCases", "Cases, newest first.", "CaseList", *_FILTERS, one=False
    ),
    ("/v1/cases/{id}", "get"): _get("getCase", "One case.", "Case", _IF_MATCH),
    ("/v1/cases/{id}", "patch"): _write(
        "changeCase", "Change what a case says of machine and complaint.", "CaseChanges", _NUMBER,
        _MUST_MATCH, refused=("404", "409", "412", "428"),
    ),
    ("/v1/cases/{id}/findings", "post"): _write(
        "addFindings", "Add one finding, or several in one step.", _FINDINGS, _NUMBER, _IF_MATCH,
        _KEY, status="201",
    ),
    ("/v1/cases/{id}/findings/{place}/withdraw", "post"): _write(
        "withdrawFinding", "Withdraw a finding; it stays in the case and counts no more.",
        "WithBecause", _NUMBER, _PLACE, _IF_MATCH, _KEY,
    ),
    ("/v1/cases/{id}/diagnosis", "get"): _get(
        "getCaseDiagnosis", "The whole diagnosis of the case as it stands.", "CaseDiagnosis"
    ),
    ("/v1/cases/{id}/steps", "get"): _get(
        "getCaseSteps", "What was done to the case, step by step.", "CaseSteps",
        _whole("since", "Only the steps after this version.", 0, 999_999_999, 0),
    ),
    ("/v1/cases/{id}/close", "post"): _write(
        "closeCase", "Close a case with what it was.", "CaseClosing", _NUMBER, _MUST_MATCH, _KEY,
        refused=("404", "409", "412", "428"),
    ),
    ("/v1/cases/{id}/reopen", "post"): _write(
        "reopenCase", "Open a closed case again.", "WithBecause", _NUMBER, _IF_MATCH, _KEY
    ),
}  # fmt: skip
OPERATIONS["/v1/cases/{id}", "get"]["responses"] |= _refusals(("412",))

WORK_ORDERS: dict[tuple[str, str], Operation] = {
    ("/v1/cases/{id}/work-order.json", "get"): _get(
        "getWorkOrder", "The case as a work order.", "WorkOrder"
    ),
    ("/v1/cases/{id}/work-order.csv", "get"): _get(
        "getWorkOrderRow", "The case as one row under its column names.", "", mimetype="text/csv"
    ),
    ("/v1/cases/{id}/work-order.html", "get"): _get(
        "getWorkOrderPage", "The case as a page to print.", "", mimetype="text/html"
    ),
}
LEARNING: dict[tuple[str, str], Operation] = {
    ("/v1/learning", "get"): _get(
        "getLearning", "What closed cases have taught this installation.", "Learning", one=False
    )
}
