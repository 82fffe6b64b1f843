"""Signing in with a key in a browser: the cookie, what it opens, and how it ends."""

from collections.abc import Callable

import pytest
from flask import Flask, request

from api.access import caller, keys, role, session
from api.store import Database


def with_views(app: Flask) -> Flask:
    """Add views that sign in and out and tell who asks."""

    @app.post("/desk/trial-in")
    @role("public")
    def trial_in() -> tuple[str, int]:
        found = session.sign_in(request.form["key"])
        return (found.name, 200) if found else ("no such key", 401)

    @app.post("/desk/trial-out")
    @role("public")
    def trial_out() -> str:
        session.sign_out()
        return ""

    @app.get("/desk/trial")
    @role("agent")
    def trial() -> str:
        return caller().name

    @app.get("/trial")
    @role("agent")
    def elsewhere() -> str:
        return caller().name

    return app


def test_a_key_signs_in_to_the_desk_alone(app: Flask, make_key: Callable[[str], str]) -> None:
    """The session opens the desk as its key would, and nothing else of the service."""
    client = with_views(app).test_client()
    assert client.get("/desk/trial").status_code == 401
    assert client.post("/desk/trial-in", data={"key": make_key("agent")}).text == "the agent"
    assert client.get("/desk/trial").text == "the agent"
    assert client.get("/trial").status_code == 401
    client.post("/desk/trial-out")
    assert client.get("/desk/trial").status_code == 401


@pytest.mark.both_databases
def test_a_copied_cookie_ends_with_the_session(
    app: Flask, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever has a copy of the cookie is signed out with the browser; other sessions go on."""
    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    key = make_key("agent")
    mine, other, copied = with_views(app).test_client(), app.test_client(), app.test_client()
    for one in (mine, other):
        one.post("/desk/trial-in", data={"key": key})
    cookie = mine.get_cookie("threewire", path="/desk")
    assert cookie is not None
    copied.set_cookie("threewire", cookie.value, path="/desk")
    assert copied.get("/desk/trial").status_code == 200
    mine.post("/desk/trial-out")
    now[0] += keys.FRESH_SECONDS
    assert copied.get("/desk/trial").status_code == 401
    assert other.get("/desk/trial").status_code == 200


def test_a_session_has_the_role_of_its_key(app: Flask, make_key: Callable[[str], str]) -> None:
    """A session of a key that may only read does not write."""
    client = with_views(app).test_client()
    client.post("/desk/trial-in", data={"key": make_key("read")})
    assert client.get("/desk/trial").status_code == 403


def test_a_wrong_key_does_not_sign_in_and_is_counted(app: Flask) -> None:
    """Wrong keys at the sign-in are throttled like any others."""
    client = with_views(app).test_client()
    statuses = [client.post("/desk/trial-in", data={"key": "x"}).status_code for _ in range(21)]
    assert statuses == [401] * 20 + [429]


def test_revoking_the_key_ends_the_session(
    app: Flask, database: Database, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A session is as good as its key, and looked at with every request."""
    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    client, key = with_views(app).test_client(), make_key("agent")
    client.post("/desk/trial-in", data={"key": key})
    database.write(lambda kept: keys.revoke(kept, key.split("_")[1]))
    now[0] += keys.FRESH_SECONDS
    assert client.get("/desk/trial").status_code == 401


def test_a_session_ends_after_a_shift(
    app: Flask, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """HOURS after signing in the key is asked for again, however busy the session was."""
    client = with_views(app).test_client()
    client.post("/desk/trial-in", data={"key": make_key("agent")})
    real = session.time.time()
    monkeypatch.setattr(session.time, "time", lambda: real + session.HOURS * 3600 + 60)
    assert client.get("/desk/trial").status_code == 401


@pytest.mark.parametrize(("flags", "secure"), [({}, False), ({"proxies": 1}, True)])
def test_the_cookie_is_closed_to_scripts_and_other_sites(
    make_app: Callable[..., Flask], database: Database, make_key: Callable[[str], str],
    flags: dict[str, int], secure: bool,
) -> None:  # fmt: skip
    """RFC 6265: HttpOnly, SameSite, the desk's path; Secure as soon as others can reach it."""
    client = with_views(make_app(database, **flags)).test_client()
    answer = client.post("/desk/trial-in", data={"key": make_key("agent")})
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Path=/desk" in cookie
    assert ("Secure" in cookie) is secure


def test_the_cookie_holds_no_secret_and_no_other_installation_takes_it(
    app: Flask, make_key: Callable[[str], str]
) -> None:
    """The key's secret is not in the cookie; a cookie signed with another secret is no session."""
    client, key = with_views(app).test_client(), make_key("agent")
    cookie = client.post("/desk/trial-in", data={"key": key}).headers["Set-Cookie"]
    assert key.rsplit("_", 1)[1] not in cookie
    app.secret_key = "another"  # noqa: S105 - not a secret
    assert client.get("/desk/trial").status_code == 401


@pytest.mark.both_databases
def test_all_servers_of_a_store_sign_with_one_secret(
    make_app: Callable[..., Flask], database: Database
) -> None:
    """Two applications on one store read each other's cookies; the secret has 256 random bits."""
    first, second = make_app(database).secret_key, make_app(database).secret_key
    assert first == second
    assert isinstance(first, str)
    assert len(bytes.fromhex(first)) == 32
