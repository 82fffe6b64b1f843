"""The components of /openapi.json: what is answered, and what is sent.

What is answered is read off the dataclasses that it is made of: types from the dataclass
(``engine.answer.documents.keys``), words from its docstring and from ``glossary.yaml``. What is
sent has marshmallow schemas, which apispec reads.
"""

import json
import re
import types
from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import is_dataclass
from datetime import datetime
from functools import cache, reduce
from importlib import resources
from operator import or_
from typing import Annotated, Any, Literal, Union, get_args, get_origin
from unicodedata import normalize

import yaml
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import RAISE, Schema, fields

from api.answers import problems
from api.cases.case import CaseEntry, CaseOutcome, CasePage, ShownDiagnosis
from api.cases.edits import NOT_A_CAUSE
from api.sums.model import Figure
from api.version import version
from api.web.diagnoses import SlimAnswer
from api.web.operations import Described
from engine import Knowledge
from engine.answer import answer
from engine.answer.documents import SPREAD, Key, keys
from engine.audit.groups import AlikeGroup, LookAlike
from engine.knowledge import items
from engine.knowledge.items import UNITS
from engine.knowledge.shapes import OneOf, StrictSchema
from engine.physics.band import Band
from engine.reasoning.request import UNIT_WORDS, RequestSchema
from engine.rules.compile import Firing

PREFIX_NAMES = {"u": "MICRO_", "μ": "MU_", "m": "MILLI_", "k": "KILO_", "M": "MEGA_"}
# dataclasses that the document knows by another name
_NAMES: Mapping[Any, str] = {
    answer.CauseEntry: "RankedCause", answer.FitEntry: "Fit",
    answer.Expectation: "Expect", Firing: "Fired",
    CaseOutcome: "Outcome", CasePage: "CaseList", ShownDiagnosis: "CaseDiagnosis",
    problems.ProblemDocument: "Problem", problems.ProblemPart: "Error", CaseEntry: "CaseEntry",
    Figure: "SumResult", AlikeGroup: "Group", LookAlike: "Declared",
}  # fmt: skip
_PARTIAL = (Band, SlimAnswer)  # an open one has no limits
_CLOSED = {"NextCheck.kind": items.KINDS, "NextCheck.while": items.PROVOKED,
           "Evidence.verdict": items.VERDICTS}  # fmt: skip
_PLAIN: Mapping[Any, Described] = {
    str: {"type": "string"}, int: {"type": "integer"}, float: {"type": "number"},
    bool: {"type": "boolean"}, datetime: {"type": "string", "format": "date-time"},
    types.NoneType: {"type": "null"}, Any: {},
}  # fmt: skip


@cache
def declared(name: str = "openapi") -> Mapping[str, Any]:
    """Return what a YAML file of this room declares for the document."""
    text = (resources.files("api.web") / f"{name}.yaml").read_text(encoding="utf-8")
    found: Mapping[str, Any] = yaml.safe_load(text)
    return found


class Components:
    """Makes each component once, with those that it names.

    ``sent`` is how a marshmallow schema is referred to.
    """

    def __init__(self, spec: APISpec, sent: Callable[[Any], Any]) -> None:
        self._spec, self._sent = spec, sent
        self._made: dict[str, type[Any]] = {}

    def schema(self, kind: Any) -> Described:
        """Return the JSON Schema of a type: of a dataclass, a reference to its component."""
        if get_origin(kind) is Annotated:
            return self.schema(get_args(kind)[1])
        if isinstance(kind, dict):
            return dict(kind)
        if isinstance(kind, type) and issubclass(kind, Schema):
            return dict(self._sent(kind))
        if is_dataclass(kind):
            return {"$ref": f"#/components/schemas/{self._component(kind)}"}
        return dict(_PLAIN[kind]) if kind in _PLAIN else self._of_several(kind)

    def _of_several(self, kind: Any) -> Described:
        inside, origin = get_args(kind), get_origin(kind)
        if origin is Literal:
            return {"type": "string", "enum": list(inside)}
        if origin in (Union, types.UnionType):
            members = [self.schema(one) for one in inside]
            named = [one.get("type") for one in members]
            if not all(isinstance(one, str) for one in named):
                return {"anyOf": members}
            together: Described = {}
            for one in members:
                together |= one
            return together | {"type": named}
        if origin and issubclass(origin, Mapping):
            return {"type": "object", "additionalProperties": self.schema(inside[1])}
        return {"type": "array", "items": self.schema(inside[0])}

    def _component(self, kind: Any) -> str:
        name: str = _NAMES.get(kind, kind.__name__.removesuffix("Entry"))
        if self._made.setdefault(name, kind) is not kind:
            raise ValueError(f"two components are called {name}")
        if name not in self._spec.components.schemas:
            self._spec.components.schemas[name] = {}  # a side's answer is an answer
            self._spec.components.schemas[name] = self._object(name, kind)
        return name

    def _object(self, name: str, kind: Any) -> Described:
        properties: Described = {}
        required = []
        for key in keys(kind):
            if key.name == SPREAD:
                spread = self._spread(key)
                properties |= spread["properties"]
                required += spread["required"]
                continue
            shown = _there(key.kind) if key.may_miss else key.kind
            properties[key.name] = _told(name, key.name, self.schema(shown))
            required += [key.name] * (not key.may_miss and kind not in _PARTIAL)
        found = {"type": "object", "properties": properties, "required": sorted(required)}
        return found | {"description": first_paragraph(kind)}

    def _spread(self, key: Key) -> Described:
        """Return the schema of what stands in the document itself."""
        kind = _there(key.kind)
        named = self.schema(kind)["$ref"].rpartition("/")[-1]
        found = deepcopy(self._spec.components.schemas[named])
        found["required"] = found["required"] if kind == key.kind else []
        return found


def _there(kind: Any) -> Any:
    """Return a type without its None."""
    inside = [one for one in get_args(kind) if one is not types.NoneType]
    union = get_origin(kind) in (Union, types.UnionType)
    return reduce(or_, inside) if union else kind


def _told(component: str, name: str, schema: Described) -> Described:
    """Return the schema with what the glossary says of the key."""
    own = f"{component}.{name}"
    glossary = declared("glossary")  # a text, or a JSON Schema with its description
    about = glossary.get(own, glossary.get(name, ""))
    about = {"description": about} if isinstance(about, str) else dict(about)
    if own in _CLOSED:
        about["enum"] = list(_CLOSED[own])
    if schema.get("type") == "array" and "items" in about:
        about["items"] = schema["items"] | about["items"]
    return schema | about


def first_paragraph(kind: Any) -> str:
    """Return what a class says of itself."""
    return re.sub(r"\s*\n\s*", " ", (kind.__doc__ or kind.__name__).split("\n\n")[0])


class ComponentNames:
    """Names each schema after its class, and keeps what the class says of itself."""

    def __init__(self) -> None:
        self.descriptions: dict[str, str] = {}
        self.strict: set[str] = set()  # those that take no unknown fields

    def __call__(self, schema: object) -> str:
        """Return the class's name without 'Schema': the same class, the same name."""
        kind = schema if isinstance(schema, type) else type(schema)
        name = kind.__name__.removesuffix("Schema")
        item = hasattr(kind, "declared_by")  # of the knowledge, which is answered and never sent
        if issubclass(kind, StrictSchema) and kind().unknown == RAISE and not item:
            self.strict.add(name)
        self.descriptions[name] = first_paragraph(kind)
        return name


def specification(names: ComponentNames, **about: Any) -> tuple[APISpec, MarshmallowPlugin]:
    """Return an empty document, and what turns schemas into its components."""
    plugin = MarshmallowPlugin(schema_name_resolver=names)
    spec = APISpec("threewire", version(), "3.1.0", plugins=[plugin], **about)
    assert plugin.converter is not None  # made when the plugin joined the document
    plugin.converter.add_attribute_function(_closed_set)  # type: ignore[no-untyped-call]
    return spec, plugin


def _closed_set(_converter: object, field: fields.Field[Any], **_: Any) -> Described:
    """Return the members of the engine's closed sets, which apispec does not know."""
    for validator in field.validators:
        if isinstance(validator, OneOf):
            return {"enum": list(validator.known)}
    return {}


def explain_request(components: Described, knowledge: Knowledge) -> None:
    """Put into the request's schemas the ids that are in force.

    Of two spellings of one unit the one that NFKC keeps is listed: names made from both collide.
    ``x-enum-varnames`` names the units to makers of clients, for whom mV and MV are one word.
    """
    for component in components.values():
        for about in component.get("properties", {}).values():
            if about.get("default", 0) is None:
                del about["default"]  # left out is not the same as null
    units = [word for word in UNIT_WORDS if normalize("NFKC", word) == word]
    for name in {"Finding", "FindingSent"} & components.keys():
        finding = components[name]["properties"]
        finding["check"]["enum"] = list(knowledge.checks)
        finding["unit"] |= {"enum": units, "x-enum-varnames": [*map(_spoken, units)]}
        finding["circumstances"]["items"]["enum"] = list(knowledge.rows("circumstances"))
    causes = list(dict.fromkeys((*NOT_A_CAUSE, *knowledge.causes)))
    if "CaseClosing" in components:
        components["CaseClosing"]["properties"]["cause"]["enum"] = causes


def request_schema(knowledge: Knowledge) -> Described:
    """Return the JSON Schema of a diagnosis request in one piece, its parts in ``$defs``."""
    names = ComponentNames()
    spec, _ = specification(names)
    spec.components.schema(names(RequestSchema), schema=RequestSchema)
    components: Described = spec.to_dict()["components"]["schemas"]
    explain_request(components, knowledge)
    text = json.dumps(components).replace("#/components/schemas/", "#/$defs/")
    parts: Described = json.loads(text)
    request: Described = parts.pop(names(RequestSchema))
    return request | {"$defs": parts}


def _spoken(unit: str) -> str:
    prefix, base = ("", unit) if unit in (*UNITS, "Ω") else (unit[0], unit[1:])
    return (PREFIX_NAMES.get(prefix, "") + base.replace("Ω", "OMEGA")).upper()
