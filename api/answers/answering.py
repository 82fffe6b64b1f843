"""From what a caller sent to the document that answers it: the same for every door."""

from typing import TYPE_CHECKING, cast

from api import strict_json
from api.answers import problems
from api.strict_json import JsonObject
from engine import RequestError

if TYPE_CHECKING:  # what it imports (a store, Flask) a command has no use for, and waits for
    from api.service import Engine

MAX_BYTES = 1024 * 1024


def answer(engine: "Engine", raw: bytes) -> tuple[int, JsonObject]:
    """Return what ``answer_request`` does for a request in JSON; 400 or 413 where it is none."""
    if len(raw) > MAX_BYTES:
        return 413, problems.document(413)
    try:
        request = strict_json.loads(raw)
    except strict_json.JsonError as fault:
        return 400, problems.json_document(fault)
    return answer_request(engine, request)


def answer_request(engine: "Engine", request: object) -> tuple[int, JsonObject]:
    """Return the HTTP status and either the diagnosis (200) or a problem document (422)."""
    try:
        return 200, engine.diagnose(cast(JsonObject, request))
    except RequestError as error:
        return 422, problems.faults_document(error.faults)
