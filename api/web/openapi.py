"""/openapi.json: put together from what each resource says of itself and from the schemas.

The examples are the demo cases, answered by the running engine, so none of them can go stale.
"""

from apispec import APISpec
from flask import Flask

from api.answers import demos, problems
from api.answers.answering import answer_request
from api.cases.events import KINDS
from api.cases.events.outbox import Event
from api.interview.hearing import hear
from api.service import Service
from api.web import operations
from api.web.case_examples import story
from api.web.components import Components, declared
from api.web.operations import Described
from api.web.sent import ComponentNames, explain_request, specification

REFUSED_WITH = {401: "WWW-Authenticate", 403: "WWW-Authenticate", 429: "Retry-After"}
EXAMPLE_ID = "4f1c2d7e9a"


def build(service: Service, app: Flask) -> Described:
    """Return the OpenAPI 3.1 document of the running service."""
    names = ComponentNames()
    spec, plugin = specification(
        names,
        info=declared()["info"],
        tags=declared()["tags"],
        servers=[_server(service.settings.public_url)],
        security=[],
    )
    assert plugin.resolver is not None
    made = Components(spec, plugin.resolver.resolve_schema_dict)
    _add_components(spec, made)
    for path, method, about in operations.described(app, made.schema):
        spec.path(path=path, operations={method: about})
    told = made.schema(Event)
    document: Described = spec.to_dict()
    document["webhooks"] = {kind: _webhook(kind, told) for kind in KINDS}
    components = document["components"]["schemas"]
    for name, schema in components.items():
        schema.setdefault("description", names.descriptions.get(name, name))
        if name not in names.strict:  # answers may gain fields, so they stay open
            schema.pop("additionalProperties", None)
    explain_request(components, service.knowledge)
    _add_examples(document, service)
    _add_case_examples(document, service)
    return document


def _server(public_url: str) -> Described:
    about = "Where callers know it." if public_url else "Where this document came from."
    return {"url": public_url or "/", "description": about}


def _webhook(kind: str, schema: Described) -> Described:
    """Return what is sent to an endpoint that asks for a kind of event."""
    return {
        "post": {
            "summary": f"An event of the kind {kind}, signed as Standard Webhooks has it.",
            "operationId": "on" + "".join(word.capitalize() for word in kind.split(".")),
            "tags": ["cases"],
            "requestBody": {"required": True, "content": {"application/json": {"schema": schema}}},
            "responses": {"2XX": {"description": "Taken; anything else is sent again."}},
        }
    }


def _add_components(spec: APISpec, made: Components) -> None:
    """Register the problem responses, and what stands in headers.

    The schemas register themselves as the operations name them.
    """
    made.schema(problems.ProblemDocument)
    spec.components.security_scheme("key", declared()["key"])
    for kind in problems.kinds().values():
        spec.components.response(str(kind.status), _problem_response(kind))
    for name, about in declared()["sent"].items():
        spec.components.header(name, about)
    for component, about in declared()["taken"].items():
        spec.components.parameter(component, "header", about)


def _problem_response(kind: problems.ProblemKind) -> Described:
    """Return the response component of one kind of problem."""
    example = problems.document(kind.status) | {"request_id": EXAMPLE_ID}
    headers = ["X-Request-Id", *filter(None, [REFUSED_WITH.get(kind.status)])]
    return {
        "description": kind.title + ".",
        "headers": {name: {"$ref": f"#/components/headers/{name}"} for name in headers},
        "content": {
            problems.MEDIA_TYPE: {
                "schema": {"$ref": "#/components/schemas/Problem"},
                "example": example,
            }
        },
    }


def _add_examples(document: Described, service: Service) -> None:
    """Put each demo case with its real answer, a caller's words, and what a bad request gets."""
    sent, got = {}, {}
    for demo in demos.load_all():
        _, answer = answer_request(service.engine, demo.request)
        sent[demo.id] = {"summary": demo.title, "value": demo.request}
        got[demo.id] = {"summary": demo.title, "value": answer}
    operation = document["paths"]["/v1/diagnoses"]["post"]
    operation["requestBody"]["content"]["application/json"]["examples"] = sent
    operation["responses"]["200"]["content"]["application/json"]["examples"] = got
    hearing = document["paths"]["/v1/hearings"]["post"]
    words = declared()["heard"]
    heard = hear(service.knowledge, words["text"]).to_dict()
    for place, value in ((hearing["requestBody"], words), (hearing["responses"]["200"], heard)):
        place["content"]["application/json"]["examples"] = {
            "words": {"summary": "A caller's words", "value": value}
        }
    _, refused = answer_request(service.engine, declared()["bad_request"])
    content = document["components"]["responses"]["422"]["content"][problems.MEDIA_TYPE]
    content["example"] = refused | {"request_id": EXAMPLE_ID}


def _add_case_examples(document: Described, service: Service) -> None:
    """Put the life of one case, worked by the running engine, on the operations that make it."""
    for one in story(service.engine, service.knowledge):
        operation = document["paths"][one.address][one.method]
        answer = next(about for status, about in operation["responses"].items() if status < "3")
        places = [(answer, one.answer)]
        if one.sent is not None:
            places.append((operation["requestBody"], one.sent))
        for place, value in places:
            examples = place["content"]["application/json"].setdefault("examples", {})
            examples[one.name] = {"summary": one.summary, "value": value}
