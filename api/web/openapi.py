"""/openapi.json: put together from what each resource says of itself and from the schemas.

The examples are the demo cases, answered by the running engine, so none of them can go stale.
"""

from copy import deepcopy
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import Schema, fields

from api.answers import demos, problems
from api.answers.answering import answer_request
from api.cases.edits import NOT_A_CAUSE
from api.service import Service
from api.version import version
from api.web import case_schemas, item_schemas, request_words, schemas
from api.web.case_examples import story
from engine.knowledge.shapes import OneOf
from engine.reasoning.request import UNIT_WORDS, RequestSchema

BAD_REQUEST = {
    "machine": {"duty": "fuel-shutof", "control": "ignition-timed", "coil": "case-ground"},
    "findings": [{"check": "pull-pin-volts", "value": 11.4, "unit": "V"}],
}


def build(service: Service) -> dict[str, Any]:
    """Return the OpenAPI 3.1 document of the running service."""
    names = _Names()
    plugin = MarshmallowPlugin(schema_name_resolver=names)
    spec = APISpec(
        title="threewire",
        version=version(),
        openapi_version="3.1.0",
        plugins=[plugin],
        info={"description": _DESCRIPTION, "license": {"name": "MIT", "identifier": "MIT"}},
        tags=[{"name": name, "description": text} for name, text in _TAGS.items()],
        servers=[{"url": "/", "description": "Where this document came from."}],
        security=[],
    )
    assert plugin.converter is not None  # made when the plugin joined the document
    plugin.converter.add_attribute_function(_closed_set)  # type: ignore[no-untyped-call]
    _add_components(spec, names)
    document: dict[str, Any] = spec.to_dict()
    document["paths"] = _paths()
    components = document["components"]["schemas"]
    for name, schema in components.items():
        schema.setdefault("description", names.descriptions.get(name, name))
    _close(components)
    _explain_request(components, service)
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


class _Names:
    """Names each schema after its class, and keeps what the class says of itself."""

    def __init__(self) -> None:
        self.descriptions: dict[str, str] = {}

    def __call__(self, schema: object) -> str:
        """Return the class's name without 'Schema': the same class, the same name."""
        kind = schema if isinstance(schema, type) else type(schema)
        name = kind.__name__.removesuffix("Schema")
        self.descriptions[name] = (kind.__doc__ or "").split("\n\n")[0].replace("\n    ", " ")
        return name


def _add_components(spec: APISpec, names: _Names) -> None:
    """Register schemas, the problem responses, and the request id's header and parameter."""
    named: dict[str, type[Schema]] = {
        "Request": RequestSchema,
        "Answer": schemas.AnswerSchema,
        "Problem": schemas.ProblemSchema,
    }
    for name, schema in (named | item_schemas.COMPONENTS | case_schemas.COMPONENTS).items():
        names(schema)
        if name not in spec.components.schemas:  # a nested schema registers itself
            spec.components.schema(name, schema=schema)
    spec.components.schema("Description", {"type": "object", "description": "OpenAPI 3.1."})
    for kind in problems.kinds().values():
        spec.components.response(str(kind["status"]), _problem_response(kind))
    spec.components.header("X-Request-Id", _REQUEST_ID_HEADER)
    spec.components.parameter("RequestId", "header", _REQUEST_ID_PARAMETER)


_EXAMPLE_ID = "4f1c2d7e9a"
_ID_SCHEMA = {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"}
_REQUEST_ID_HEADER = {
    "description": "The caller's id for this request, or one made up here.",
    "schema": _ID_SCHEMA,
}
_REQUEST_ID_PARAMETER = {
    "name": "X-Request-Id",
    "required": False,
    "description": "An id for this request; one that does not fit the pattern is replaced.",
    "schema": {"type": "string"},
}


def _problem_response(kind: dict[str, Any]) -> dict[str, Any]:
    """Return the response component of one kind of problem."""
    example = problems.document(kind["status"]) | {"request_id": _EXAMPLE_ID}
    return {
        "description": kind["title"] + ".",
        "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
        "content": {
            problems.MEDIA_TYPE: {
                "schema": {"$ref": "#/components/schemas/Problem"},
                "example": example,
            }
        },
    }


def _paths() -> dict[str, dict[str, Any]]:
    """Return every operation that a resource declares beside its views, by path and method."""
    from api.web import MODULES

    paths: dict[str, dict[str, Any]] = {}
    for module in MODULES:
        for (path, method), operation in module.OPERATIONS.items():
            paths.setdefault(path, {})[method] = deepcopy(operation)  # examples are put into it
    return paths


def _closed_set(_converter: object, field: fields.Field[Any], **_: Any) -> dict[str, Any]:
    """Return the members of the engine's closed sets, which apispec does not know."""
    for validator in field.validators:
        if isinstance(validator, OneOf):
            return {"enum": list(validator.known)}
    return {}


def _explain_request(components: dict[str, Any], service: Service) -> None:
    """Put into the request's schemas what its fields mean, and the ids that are in force."""
    for name, words in {**request_words.FIELDS, **case_schemas.WORDS}.items():
        for field, description in words.items():
            about = components[name]["properties"][field]
            about["description"] = description
            if about.get("default", 0) is None:
                del about["default"]  # left out is not the same as null
    for name in ("Finding", "FindingSent"):
        finding = components[name]["properties"]
        finding["check"]["enum"] = list(service.knowledge.checks)
        finding["unit"]["enum"] = list(UNIT_WORDS)
        finding["circumstances"]["items"]["enum"] = list(service.knowledge.rows("circumstances"))
    causes = [*NOT_A_CAUSE, *service.knowledge.causes]
    components["CaseClosing"]["properties"]["cause"]["enum"] = causes


def _close(components: dict[str, Any]) -> None:
    """Say that a request takes no unknown fields; answers may gain fields, so they stay open."""
    roots = ("Request", *case_schemas.CLOSED_SETS)
    closed = set().union(*(_reachable(components, root) for root in roots))
    for name, schema in components.items():
        if name in closed and schema.get("type") == "object" and "properties" in schema:
            schema["additionalProperties"] = False
        else:
            schema.pop("additionalProperties", None)


def _reachable(components: dict[str, Any], start: str) -> set[str]:
    """Return the names of the schemas that ``start`` refers to, itself among them."""
    seen: set[str] = set()
    waiting = [start]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(_references(components[name]))
    return seen


def _references(value: object) -> list[str]:
    """Return the schema names that a piece of JSON Schema refers to."""
    if isinstance(value, list):
        return [name for inner in value for name in _references(inner)]
    if not isinstance(value, dict):
        return []
    own = [value["$ref"].rsplit("/", 1)[-1]] if isinstance(value.get("$ref"), str) else []
    return own + [name for inner in value.values() for name in _references(inner)]


def _add_examples(document: dict[str, Any], service: Service) -> None:
    """Put each demo case and its real answer on the diagnosis, and what a bad request gets."""
    sent, got = {}, {}
    for demo in demos.load_all():
        _, answer = answer_request(service.engine, demo.request)
        sent[demo.id] = {"summary": demo.title, "value": demo.request}
        got[demo.id] = {"summary": demo.title, "value": answer}
    operation = document["paths"]["/v1/diagnoses"]["post"]
    operation["requestBody"]["content"]["application/json"]["examples"] = sent
    operation["responses"]["200"]["content"]["application/json"]["examples"] = got
    _, refused = answer_request(service.engine, BAD_REQUEST)
    content = document["components"]["responses"]["422"]["content"][problems.MEDIA_TYPE]
    content["example"] = refused | {"request_id": _EXAMPLE_ID}


def _add_case_examples(document: dict[str, Any], service: Service) -> None:
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
