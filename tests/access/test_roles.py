"""Every route has a role, and the one hook holds every request to it."""

import re
from collections.abc import Callable, Iterator

import pytest
from flask import Flask

from api import access as roles
from api.store import Database
from tests.access.conftest import bearer

ORDER = ("read", "agent", "admin")
# whoever reaches the service may ask these: probes, and what a program needs to know beforehand
PUBLIC = {"/healthz", "/readyz", "/openapi.json", "/problems/<kind>"}
# a POST that carries a question and keeps nothing
COMPUTES = {
    "/v1/diagnoses", "/v1/diagnoses/batch", "/v1/drawings", "/v1/hearings", "/v1/sums/<id_>",
    "/v1/traces", "/desk/hear",
}  # fmt: skip
# who sits at the desk: a cookie in the browser, nothing in the store
SIGNING_IN = {"/desk/sign-in", "/desk/sign-out", "/desk/name", "/desk/cases/<number>/told"}
NOWHERE = {"/desk/<path:rest>"}  # answers 404 with a page


def routes(app: Flask) -> Iterator[tuple[str, str, str]]:
    """Give method, path and role of every route; OPTIONS only names methods and needs 'read'."""
    for rule in app.url_map.iter_rules():
        role = roles.needed(app.view_functions[rule.endpoint])
        path = re.sub(r"<[^>]+>", "1", rule.rule)
        for method in sorted(rule.methods or ()):
            look = method == "OPTIONS" and role != "public"
            yield method, path, "read" if look else role


def test_the_public_routes_are_these_alone(app: Flask) -> None:
    """Beside probes and descriptions only the desk's sign-in and its files need no key."""
    public = {
        rule.rule
        for rule in app.url_map.iter_rules()
        if roles.needed(app.view_functions[rule.endpoint]) == "public"
    }
    others = public - PUBLIC
    assert public >= PUBLIC
    assert all(rule.startswith(("/desk", "/reference/")) for rule in others), others


def test_what_writes_says_its_role(app: Flask) -> None:
    """Each view that takes POST, PUT, PATCH or DELETE declares its role; writing takes an agent."""
    changing = {"POST", "PUT", "PATCH", "DELETE"}
    seen = 0
    for rule in app.url_map.iter_rules():
        if not (rule.methods or set()) & changing:
            continue
        view = app.view_functions[rule.endpoint]
        assert hasattr(view, "threewire_role"), f"{rule.rule} declares no role"
        if rule.rule not in COMPUTES | SIGNING_IN | NOWHERE:
            assert roles.needed(view) in ("agent", "admin"), rule.rule
        seen += 1
    assert seen > 10


def test_without_a_key_every_other_route_is_401(app: Flask) -> None:
    """Each method of each route that is not public answers 401 and names the scheme."""
    client = app.test_client()
    seen = 0
    for method, path, role in routes(app):
        answer = client.open(path, method=method)
        if role == "public":
            assert answer.status_code not in (401, 403), (method, path)
            continue
        assert answer.status_code == 401, (method, path)
        assert answer.headers["WWW-Authenticate"].startswith("Bearer ")
        seen += 1
    assert seen > 100


@pytest.mark.parametrize("held", ORDER)
def test_a_key_opens_its_role_and_what_stands_before_it(
    make_app: Callable[..., Flask], database: Database, make_key: Callable[[str], str], held: str
) -> None:
    """A key of a lesser role is answered 403 and told which role is needed; else it gets on."""
    app = make_app(database, require_keys="yes", rate_per_minute=10**6)
    client, header = app.test_client(), bearer(make_key(held))
    refused = {"read": 0, "agent": 0, "admin": 0}
    for method, path, role in routes(app):
        if role == "public":
            continue
        answer = client.open(path, method=method, headers=header)
        if ORDER.index(held) >= ORDER.index(role):
            assert answer.status_code not in (401, 403), (method, path)
            continue
        assert answer.status_code == 403, (method, path)
        assert f'scope="{role}"' in answer.headers["WWW-Authenticate"]
        if method != "HEAD" and not path.startswith("/desk"):  # a page, not a problem document
            assert f"'{role}'" in answer.get_json()["detail"]
        refused[role] += 1
    assert refused["read"] == 0


def test_a_view_on_trial_is_held_to_its_role(
    make_app: Callable[..., Flask], database: Database, make_key: Callable[[str], str]
) -> None:
    """A new view that says 'admin' is closed to an agent and open to an admin, by that word."""
    app = make_app(database, require_keys="yes")

    @app.post("/trial")
    @roles.role("admin")
    def trial() -> str:
        return roles.caller().name

    client, agent, admin = app.test_client(), make_key("agent"), make_key("admin")
    assert client.post("/trial", headers=bearer(agent)).status_code == 403
    answer = client.post("/trial", headers=bearer(admin))
    assert (answer.status_code, answer.text) == (200, "the admin")


def test_what_is_not_served_is_404_with_and_without_key(app: Flask) -> None:
    """An address that does not exist needs no key to be told so."""
    assert app.test_client().get("/nowhere").status_code == 404


def test_openapi_says_what_each_operation_needs(app: Flask) -> None:
    """Each operation has 'security' and its role exactly when the hook asks for a key there."""
    document = app.test_client().get("/openapi.json").get_json()
    assert document["components"]["securitySchemes"]["key"]["scheme"] == "bearer"
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            sent = re.sub(r"{[^}]+}", "1", path)
            status = app.test_client().open(sent, method=method.upper()).status_code
            assert ("security" in operation) == (status == 401), (method, path)
            assert ("401" in operation["responses"]) == (status == 401), (method, path)
