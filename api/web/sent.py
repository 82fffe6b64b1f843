"""What is sent, as JSON Schema: read off the marshmallow schemas that take it, by apispec."""

import json
from typing import Any
from unicodedata import normalize

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import RAISE, fields

from api.cases.edits import NOT_A_CAUSE
from api.version import version
from api.web.components import first_paragraph
from api.web.operations import Described
from engine import Knowledge
from engine.knowledge.items import UNITS
from engine.knowledge.shapes import OneOf, StrictSchema
from engine.reasoning.request import UNIT_WORDS, RequestSchema

PREFIX_NAMES = {"u": "MICRO_", "μ": "MU_", "m": "MILLI_", "k": "KILO_", "M": "MEGA_"}


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
