"""/openapi.json: put together from what each resource says of itself and from the schemas.

The examples are the demo cases, answered by the running engine, so none of them can go stale.
"""

from apispec import APISpec
from flask import Flask

from api.answers import demos, problems
from api.answers.answering import answer_request
from api.cases.events.outbox import KINDS, Event
from api.interview.hearing import hear
from api.service import Service
from api.strict_json import Json
from api.web import operations
from api.web.case_examples import story
from api.web.components import (
    ComponentNames,
    Components,
    declared,
    explain_request,
    specification,
)
from api.web.operations import Described
from api.web.requests import JSON

REFUSED_WITH = {401: "WWW-Authenticate", 403: "WWW-Authenticate", 429: "Retry-After"}
EXAMPLE_ID = "4f1c2d7e9a"


def build(service: Service, app: Flask) -> Described:
    """Return the OpenAPI 3.1 document of the running service."""
    names, public = ComponentNames(), service.settings.public_url
    about = "Where callers know it." if public else "Where this document came from."
    spec, plugin = specification(
        names,
        info=declared()["info"],
        tags=declared()["tags"],
        servers=[{"url": public or "/", "description": about}],
        security=[],
    )
    assert plugin.resolver is not None
    made = Components(spec, plugin.resolver.resolve_schema_dict)
    _add_components(spec, made)
    for path, method, told in operations.described(app, made.schema):
        spec.path(path=path, operations={method: told})
    event = made.schema(Event)
    document: Described = spec.to_dict()
    document["webhooks"] = {kind: _webhook(kind, event) for kind in KINDS}
    components = document["components"]["schemas"]
    for name, schema in components.items():
        schema.setdefault("description", names.descriptions.get(name, name))
        if name not in names.strict:  # answers may gain fields, so they stay open
            schema.pop("additionalProperties", None)
    explain_request(components, service.knowledge)
    _add_examples(document, service)
    return document


def _webhook(kind: str, schema: Described) -> Described:
    """Return what is sent to an endpoint that asks for a kind of event."""
    return {
        "post": {
            "summary": f"An event of the kind {kind}, signed as Standard Webhooks has it.",
            "operationId": "on" + "".join(word.capitalize() for word in kind.split(".")),
            "tags": ["cases"],
            "requestBody": {"required": True, "content": {JSON: {"schema": schema}}},
            "responses": {"2XX": {"description": "Taken; anything else is sent again."}},
        }
    }


def _add_components(spec: APISpec, made: Components) -> None:
    """Register the problem responses, and what stands in headers.

    The schemas register themselves as the operations name them.
    """
    problem = made.schema(problems.ProblemDocument)
    spec.components.security_scheme("key", declared()["key"])
    for kind in problems.kinds().values():
        headers = ["X-Request-Id", *filter(None, [REFUSED_WITH.get(kind.status)])]
        example = problems.document(kind.status) | {"request_id": EXAMPLE_ID}
        spec.components.response(str(kind.status), {
            "description": kind.title + ".",
            "headers": {name: {"$ref": f"#/components/headers/{name}"} for name in headers},
            "content": {problems.MEDIA_TYPE: {"schema": problem, "example": example}},
        })  # fmt: skip
    for name, about in declared()["sent"].items():
        spec.components.header(name, about)
    for component, about in declared()["taken"].items():
        spec.components.parameter(component, "header", about)


def _add_examples(document: Described, service: Service) -> None:
    """Put each demo case with its real answer, a caller's words, the life of one case, worked by
    the running engine, and what a bad request gets."""
    paths = document["paths"]
    for demo in demos.load_all():
        _, answer = answer_request(service.engine, demo.request)
        _show(paths["/v1/diagnoses"]["post"], demo.id, demo.title, demo.request, answer)
    words = declared()["heard"]
    heard = hear(service.knowledge, words["text"]).to_dict()
    _show(paths["/v1/hearings"]["post"], "words", "A caller's words", words, heard)
    for one in story(service.engine, service.knowledge):
        _show(paths[one.address][one.method], one.name, one.summary, one.sent, one.answer)
    _, refused = answer_request(service.engine, declared()["bad_request"])
    content = document["components"]["responses"]["422"]["content"][problems.MEDIA_TYPE]
    content["example"] = refused | {"request_id": EXAMPLE_ID}


def _show(operation: Described, name: str, summary: str, sent: Json | None, answer: Json) -> None:
    """Put an example on an operation: what is sent, if anything is, and what is answered."""
    good = next(about for status, about in operation["responses"].items() if status < "3")
    body = [] if sent is None else [(operation["requestBody"], sent)]
    for place, value in [*body, (good, answer)]:
        examples = place["content"][JSON].setdefault("examples", {})
        examples[name] = {"summary": summary, "value": value}
