"""An operation is told once: by the decorator that holds requests to it, and /openapi.json reads.

Path, method and the parameters in the path come from Flask's map of addresses; id and summary are
the view's name and the first line of its docstring.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import wraps
from types import UnionType
from typing import Any

from flask import Flask, Response
from marshmallow import Schema
from werkzeug.routing import Rule

from api.access import needed
from api.web import requests
from api.web.requests import JSON, QuerySchema

View = Callable[..., Response]
JsonSchema = dict[str, Any]
Described = dict[str, Any]
_OPERATION = "threewire_operation"
_WORD = {"type": "string", "pattern": "^[a-z0-9-]+$"}
_LIMITS = {
    JSON: "UTF-8, at most 1 MiB of JSON.",
    "application/x-ndjson": "UTF-8, at most 1 MiB of JSON a line.",
}
_SEVERAL_LINES = re.compile(r"\s*\n\s*")


@dataclass(frozen=True)
class Operation:
    """What a view takes and answers, beside what Flask knows of it.

    ``answer`` is the dataclass (or one of two) or schema of the answer, None for text; ``body`` the
    schema of what is sent, None where nothing is. ``path`` has the JSON Schema of parameters in the
    path that are no plain ids.
    ``headers`` and ``sends`` name components of the document: headers taken, and headers answered.
    """

    tag: str
    answer: type[Any] | UnionType | JsonSchema | None = None
    body: type[Schema] | JsonSchema | None = None
    query: type[QuerySchema] = QuerySchema
    mimetype: str = JSON
    sent: str = JSON
    also_sent: tuple[str, ...] = ()
    negotiated: bool = True
    status: int = 200
    path: dict[str, JsonSchema] | None = None
    headers: tuple[str, ...] = ()
    sends: tuple[str, ...] = ()
    refusals: tuple[int, ...] = ()


def operation(told: Operation) -> Callable[[View], View]:
    """Return a decorator that refuses what the operation does not take, before the view is called.

    The view is called with what stands in its path and what the query gives. It raises ProblemError
    406, 415 or 422.
    """

    def mark(view: View) -> View:
        @wraps(view)
        def held(**path: str) -> Response:
            asked = requests.query(told.query)
            if told.body is not None:
                requests.require_body(told.sent, *told.also_sent)
            if told.negotiated:
                requests.require_accepted(told.mimetype)
            return view(**path, **asked)

        setattr(held, _OPERATION, told)
        return held

    return mark


def operation_of(view: object) -> Operation | None:
    """Return what a view's decorator told of it; None for a page of the desk."""
    return getattr(view, _OPERATION, None)


def described(
    app: Flask, schema: Callable[[Any], Any] = lambda answer: answer
) -> Iterator[tuple[str, str, Described]]:
    """Give path, method and description of every operation, in the order of their paths.

    ``schema`` turns what an operation answers into its JSON Schema.
    """
    for rule in sorted(app.url_map.iter_rules(), key=lambda rule: rule.rule):
        view = app.view_functions[rule.endpoint]
        told = operation_of(view)
        if told is None:
            continue
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}:
            about = _description(told, view, rule, method)
            if told.answer is not None:
                answered = about["responses"][str(told.status)]["content"][told.mimetype]
                answered["schema"] = schema(told.answer)
            yield path_of(rule.rule), method.lower(), about


def _description(told: Operation, view: Callable[..., Any], rule: Rule, method: str) -> Described:
    first, *others = view.__name__.split("_")
    paragraphs = [_SEVERAL_LINES.sub(" ", text) for text in (view.__doc__ or "").split("\n\n")]
    role, path = needed(view), path_of(rule.rule)
    headers = {name: name for name in ("X-Request-Id", *told.sends)}
    good = {
        "description": paragraphs[0],
        "headers": headers,
        "content": {told.mimetype: {"schema": {"type": "string"}}},
    }
    found: Described = {
        "operationId": first + "".join(word.capitalize() for word in others),
        "tags": [told.tag],
        "summary": paragraphs[0],
        "parameters": [
            *(_path_parameter(told, path, name) for name in sorted(rule.arguments)),
            {"in": "query", "schema": told.query},
            *told.headers,
            "RequestId",
        ],
        "responses": {str(told.status): good},
    }
    if role != "public":
        found |= {"security": [{"key": []}, {}], "x-role": role}
    if told.body is not None:
        found["requestBody"] = {
            "required": True,
            "description": _LIMITS.get(told.sent, "UTF-8, at most 64 MiB."),
            "content": {one: {"schema": told.body} for one in (told.sent, *told.also_sent)},
        }
    if method == "GET":
        found["responses"]["304"] = {"description": "Not changed.", "headers": headers}
    refused = sorted(_refusals(told, rule, role))
    found["responses"] |= {str(status): str(status) for status in refused}
    return found


def path_of(rule: str) -> str:
    """Return Flask's path as OpenAPI writes it: ``/v1/causes/{id}`` for ``/v1/causes/<id_>``."""
    return re.sub(r"<(?:[^<>:]+:)?([^<>]+?)_?>", r"{\1}", rule)


def _refusals(told: Operation, rule: Rule, role: str) -> set[int]:
    """Return the statuses with which an operation refuses; lines are refused in their place."""
    found = {422, 500, *told.refusals}
    found |= {404} if rule.arguments else set()
    found |= {406} if told.negotiated else set()
    found |= {401, 403, 429} if role != "public" else set()
    if told.body is not None:
        found |= {415} if told.sent != JSON else {400, 413, 415}
    return found


def _path_parameter(told: Operation, path: str, argument: str) -> Described:
    """Describe a parameter in the path: what stands before it says of what it is the id."""
    name = argument.rstrip("_")
    before = path.partition("{" + name)[0].rstrip("/").rsplit("/", 1)[-1].strip("{}")
    schema = dict((told.path or {}).get(name, _WORD))
    about = schema.pop("description", f"Which of the {before} it is, by its id.")
    return {"name": name, "in": "path", "required": True, "description": about, "schema": schema}
