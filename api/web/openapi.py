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
from api.web.components import Components
from api.web.operations import Described
from api.web.sent import ComponentNames, explain_request, specification

HEARD = {"text": "Since I washed it the relay clicks but nothing moves, and I smell smoke."}
BAD_REQUEST = {
    "machine": {"duty": "fuel-shutof", "control": "ignition-timed", "coil": "case-ground"},
    "findings": [{"check": "pull-pin-volts", "value": 11.4, "unit": "V"}],
}


def build(service: Service, app: Flask) -> Described:
    """Return the OpenAPI 3.1 document of the running service."""
    names = ComponentNames()
    spec, plugin = specification(
        names,
        info={"description": _DESCRIPTION, "license": {"name": "MIT", "identifier": "MIT"}},
        tags=[{"name": name, "description": text} for name, text in _TAGS.items()],
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


_DESCRIPTION = (
    "Why a three-wire pull/hold solenoid circuit does not do its job: ranked causes, the evidence "
    "for each, and the check to do next. An aid for qualified people: the machine maker's service "
    "manual, the site's lockout rules and local codes win where they differ from an answer."
)
_TAGS = {
    "diagnosis": "Facts in, diagnosis out.",
    "cases": "One machine, from the first call to the confirmed cause.",
    "knowledge": "What the answers rest on.",
    "reference": "The same as pages for people.",
    "service": "About the service itself.",
}


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
    spec.components.security_scheme("key", _BEARER)
    for kind in problems.kinds().values():
        spec.components.response(str(kind.status), _problem_response(kind))
    for name, (description, schema) in _SENT_HEADERS.items():
        spec.components.header(name, {"description": description, "schema": schema})
    for component, (name, required, description, taken) in _TAKEN_HEADERS.items():
        about = {"name": name, "required": required, "description": description, "schema": taken}
        spec.components.parameter(component, "header", about)


_BEARER = {
    "type": "http",
    "scheme": "bearer",
    "description": "A key made with 'threewire keys make'. Its role is read, agent or admin; each "
    "may do what stands before it. A service on loopback where no key is made needs none.",
}
_EXAMPLE_ID = "4f1c2d7e9a"
_TEXT = {"type": "string"}
_ID_SCHEMA = {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"}
_KEY_SCHEMA = {"type": "string", "pattern": "^[!-~]+$", "minLength": 1, "maxLength": 255}
# header of answers -> what it is, and its form
_SENT_HEADERS = {
    "X-Request-Id": ("The caller's id for this request, or one made up here.", _ID_SCHEMA),
    "ETag": ("Version of what is sent.", _TEXT),
    "Location": ("Address of the case.", _TEXT),
    "Idempotent-Replayed": (
        "'true' when this is the kept answer to the same Idempotency-Key.",
        {"const": "true", "type": "string"},
    ),
    "RateLimit-Policy": ("Requests that the key may make (q) in so many seconds (w).", _TEXT),
    "RateLimit": (
        "Requests that are left (r), and seconds until all of them are again (t).", _TEXT,
    ),
    "WWW-Authenticate": (
        "What is needed: a bearer key, and for 403 the role, as 'scope'.", _TEXT,
    ),
    "Retry-After": (
        "Seconds to wait before the next try.", {"type": "integer", "minimum": 1},
    ),
}  # fmt: skip
_REFUSED_WITH = {401: "WWW-Authenticate", 403: "WWW-Authenticate", 429: "Retry-After"}
_SEEN = "ETag of the case as you have seen it"
# component -> header of requests, whether it is needed, what it is, and its form
_TAKEN_HEADERS = {
    "RequestId": (
        "X-Request-Id", False,
        "An id for this request; one that does not fit the pattern is replaced.", _TEXT,
    ),
    "IdempotencyKey": (
        "Idempotency-Key", False,
        "A new random text for each thing to be done. Sent again with the same request within a "
        "day, it gives the kept answer and does nothing.", _KEY_SCHEMA,
    ),
    "IfMatch": ("If-Match", False, f"{_SEEN}: refused when it changed.", _TEXT),
    "IfMatchNeeded": ("If-Match", True, f"{_SEEN}, or '*'.", _TEXT),
    "IfNoneMatch": (
        "If-None-Match", False, "ETag of what you have: answered with 304 when it is the same.",
        _TEXT,
    ),
}  # fmt: skip


def _problem_response(kind: problems.ProblemKind) -> Described:
    """Return the response component of one kind of problem."""
    example = problems.document(kind.status) | {"request_id": _EXAMPLE_ID}
    headers = ["X-Request-Id", *filter(None, [_REFUSED_WITH.get(kind.status)])]
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
    heard = hear(service.knowledge, HEARD["text"]).to_dict()
    for place, value in ((hearing["requestBody"], HEARD), (hearing["responses"]["200"], heard)):
        place["content"]["application/json"]["examples"] = {
            "words": {"summary": "A caller's words", "value": value}
        }
    _, refused = answer_request(service.engine, BAD_REQUEST)
    content = document["components"]["responses"]["422"]["content"][problems.MEDIA_TYPE]
    content["example"] = refused | {"request_id": _EXAMPLE_ID}


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
