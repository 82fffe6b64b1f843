"""What /openapi.json says of keys, roles and rates: taken from the views, so that it cannot lie."""

import re
from typing import Any

from flask import Flask

from api.access.roles import needed

_SCHEME = {
    "type": "http",
    "scheme": "bearer",
    "description": "A key made with 'threewire keys make'. Its role is read, agent or admin; each "
    "may do what stands before it. A service on loopback where no key is made needs none.",
}
_RATE_HEADERS = {
    "RateLimit-Policy": "Requests that the key may make (q) in so many seconds (w).",
    "RateLimit": "Requests that are left (r), and seconds until all of them are again (t).",
}
_CHALLENGE = "What is needed: a bearer key, and for 403 the role, as 'scope'."


def describe(document: dict[str, Any], app: Flask) -> None:
    """Add to every operation that needs a key what it needs and how it refuses."""
    components = document["components"]
    components.setdefault("securitySchemes", {})["key"] = _SCHEME
    _add_headers(components)
    for (path, method), role in roles(app).items():
        operation = document["paths"].get(path, {}).get(method)
        if operation is None or role == "public":
            continue
        operation["security"] = [{"key": []}, {}]
        operation["x-role"] = role
        for status in ("401", "403", "429"):
            reference = {"$ref": f"#/components/responses/{status}"}
            operation["responses"].setdefault(status, reference)


def _add_headers(components: dict[str, Any]) -> None:
    headers, text = components["headers"], {"type": "string"}
    for name, about in _RATE_HEADERS.items():
        headers[name] = {"description": about, "schema": text}
    headers["WWW-Authenticate"] = {"description": _CHALLENGE, "schema": text}
    headers["Retry-After"] = {
        "description": "Seconds to wait before the next try.",
        "schema": {"type": "integer", "minimum": 1},
    }
    sent = {"401": "WWW-Authenticate", "403": "WWW-Authenticate", "429": "Retry-After"}
    for status, name in sent.items():
        reference = {"$ref": f"#/components/headers/{name}"}
        components["responses"][status]["headers"][name] = reference


def path_of(rule: str) -> str:
    """Return Flask's path as OpenAPI writes it: ``/v1/causes/{id}`` for ``/v1/causes/<id_>``."""
    return re.sub(r"<(?:[^<>:]+:)?([^<>]+?)_?>", r"{\1}", rule)


def roles(app: Flask) -> dict[tuple[str, str], str]:
    """Return the role that each path and method needs, with paths as OpenAPI writes them."""
    found = {}
    for rule in app.url_map.iter_rules():
        for method in rule.methods or ():
            found[path_of(rule.rule), method.lower()] = needed(app.view_functions[rule.endpoint])
    return found
