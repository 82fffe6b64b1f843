"""What the lists of causes, checks, circuits and rules have in common: filters and one item."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from flask import Response, current_app, request

from api import strict_json
from api.answers.problems import ProblemError
from api.service import current
from api.web import negotiation
from engine.knowledge import items
from engine.knowledge.faults import unknown

MACHINE_FILTERS: dict[str, Sequence[str]] = {
    "duty": items.DUTIES,
    "control": items.CONTROLS,
    "coil": items.COILS,
}


def respond(value: dict[str, Any]) -> Response:
    """Return ``value`` as JSON that a client may keep while the knowledge stays the same."""
    negotiation.require_json_accepted()
    response = current_app.response_class(strict_json.dumps(value), mimetype=negotiation.JSON)
    response.headers["Cache-Control"] = "no-cache"
    response.add_etag()
    response.make_conditional(request)
    return response


def list_items(
    plural: str,
    found: Mapping[str, Any],
    filters: Mapping[str, Sequence[str]],
    matches: Callable[[Any, dict[str, str]], bool],
) -> Response:
    """Return the items that ``matches`` lets through, in the order of the knowledge base."""
    query = negotiation.query(filters)
    chosen = [item.as_dict() for item in found.values() if matches(item, query)]
    return respond(
        {"knowledge_version": current().knowledge.version, "count": len(chosen), plural: chosen}
    )


def one_item(kind: str, found: Mapping[str, Any], wanted: str) -> Response:
    """Return one item. Raises ProblemError 404 that names the nearest id there is."""
    negotiation.query({})
    if wanted not in found:
        message = unknown(kind, wanted, found)
        raise ProblemError(404, message[:1].upper() + message[1:] + ".", errors=[("id", message)])
    return respond(found[wanted].as_dict())


def applies(item: items.Cause | items.Check, query: dict[str, str]) -> bool:
    """Return whether a cause or check can occur on a machine that the query describes."""
    asked = {name: value for name, value in query.items() if name in MACHINE_FILTERS}
    return any(one.holds(asked) for one in item.applies)
