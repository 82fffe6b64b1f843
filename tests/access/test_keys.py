"""Keys: their form, what is kept of them, and how they end."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask, g
from sqlalchemy import text

from api.access import authorization, keys, session
from api.store import Database
from tests.access.conftest import bearer


def test_a_secret_has_160_random_bits(make_key: Callable[[str], str]) -> None:
    """RFC 4648 section 6: a base32 letter is 5 bits; 32 of them are 160, and no two keys agree."""
    made = [make_key("read") for _ in range(5)]
    secrets = {key.rsplit("_", 1)[1] for key in made}
    assert len(secrets) == 5
    for secret in secrets:
        assert re.fullmatch("[a-z2-7]{32}", secret)


@pytest.mark.both_databases
def test_the_secret_is_nowhere_in_the_store(
    database: Database, make_key: Callable[[str], str]
) -> None:
    """Of a secret only its SHA-256 is kept, which hashlib computes the same."""
    import hashlib

    secret = make_key("agent").rsplit("_", 1)[1]
    with database.reading() as session:
        row = dict(session.execute(text("SELECT * FROM api_keys")).mappings().one())
    assert secret not in repr(row)
    assert row["digest"] == hashlib.sha256(secret.encode()).hexdigest()


@pytest.mark.parametrize(
    "wrong",
    ["", "x", "tw_", "tw_aaaaaaaa_" + "a" * 32, "tw_aaaaaaaa", "\u0000", "ä" * 40, "a" * 100_000],
)
def test_a_wrong_key_is_401_with_a_challenge(app: Flask, wrong: str) -> None:
    """RFC 6750 section 3: a refused bearer key gets 401, WWW-Authenticate and invalid_token."""
    answer = app.test_client().get(
        "/v1/rules", environ_overrides={"HTTP_AUTHORIZATION": f"Bearer {wrong}"}
    )
    assert answer.status_code == 401
    assert 'error="invalid_token"' in answer.headers["WWW-Authenticate"]
    assert answer.mimetype == "application/problem+json"


@pytest.mark.parametrize("scheme", ["Basic", "Digest", "Token", ""])
def test_another_scheme_is_not_taken(
    app: Flask, make_key: Callable[[str], str], scheme: str
) -> None:
    """A right key under another scheme than Bearer is refused."""
    header = {"Authorization": f"{scheme} {make_key('admin')}"}
    assert app.test_client().get("/v1/rules", headers=header).status_code == 401


def test_what_a_proxy_asks_for_hides_no_session(app: Flask, make_key: Callable[[str], str]) -> None:
    """A browser that sends a proxy's Basic auth with every request is signed in none the less."""
    key = make_key("agent")
    with app.test_request_context("/desk", headers={"Authorization": "Basic b2ZmaWNlOng="}):
        assert session.sign_in(key) is not None
        authorization.hold()
        assert g.caller.role == "agent"


def test_the_id_of_one_key_with_the_secret_of_another(
    app: Flask, make_key: Callable[[str], str]
) -> None:
    """A secret is good for its own key alone."""
    first, second = make_key("read").split("_"), make_key("admin").split("_")
    mixed = "_".join(["tw", second[1], first[2]])
    assert app.test_client().get("/v1/rules", headers=bearer(mixed)).status_code == 401


def test_a_revoked_key_is_refused_within_five_seconds(
    app: Flask, database: Database, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The keys are read anew when they are FRESH_SECONDS old, which is under 5."""
    assert keys.FRESH_SECONDS < 5
    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    key = make_key("read")
    client = app.test_client()
    assert client.get("/v1/rules", headers=bearer(key)).status_code == 200
    database.write(lambda session: keys.revoke(session, key.split("_")[1]))
    now[0] += keys.FRESH_SECONDS
    assert client.get("/v1/rules", headers=bearer(key)).status_code == 401


@pytest.mark.both_databases
def test_keys_cost_no_query_a_request(
    app: Flask, database: Database, make_key: Callable[[str], str]
) -> None:
    """Twenty requests within the time that keys stay fresh read the keys, and the sessions that
    have ended, once: three statements with the one that begins."""
    from sqlalchemy import event

    key, asked = make_key("read"), []
    event.listen(database.engine, "before_cursor_execute", lambda *_: asked.append(1))
    client = app.test_client()
    for _ in range(20):
        assert client.get("/v1/checks", headers=bearer(key)).status_code == 200
    assert 1 <= len(asked) <= 3


def test_keys_last_read_stay_good_while_the_store_is_away(
    app: Flask, database: Database, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the store a known key goes on for STALE_SECONDS; then the answer is 503."""
    from contextlib import contextmanager

    from api.store import StoreUnavailableError

    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    client, header = app.test_client(), bearer(make_key("read"))
    assert client.get("/v1/rules", headers=header).status_code == 200

    @contextmanager
    def away() -> Any:
        raise StoreUnavailableError("the database does not answer; nothing was kept")
        yield

    monkeypatch.setattr(database, "reading", away)
    now[0] += keys.FRESH_SECONDS
    assert client.get("/v1/rules", headers=header).status_code == 200
    now[0] += keys.STALE_SECONDS
    answer = client.get("/v1/rules", headers=header)
    assert (answer.status_code, answer.mimetype) == (503, "application/problem+json")


@pytest.mark.parametrize("name", ["", " x", "x" * 61, "a\nb", "<b>", '"x"', "_x", "a\x00"])
def test_a_name_that_could_spoil_a_log_is_refused(name: str) -> None:
    """Names go into logs and cases: no control characters, brackets or quotes, 60 characters."""
    assert not keys.good_name(name)


@pytest.mark.parametrize("name", ["Till 1", "Büro", "x", "night desk (north)", "shop-system.2"])
def test_plain_names_are_taken(name: str) -> None:
    """A name may have letters of any script, digits, spaces and plain signs."""
    assert keys.good_name(name)


@pytest.mark.both_databases
def test_a_new_key_is_good_at_once_and_guesses_cost_few_queries(
    app: Flask, database: Database, make_key: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A key unknown to the server is looked for in the store again, at most five times a second."""
    from sqlalchemy import event

    now = [1000.0]
    monkeypatch.setattr(keys.time, "monotonic", lambda: now[0])
    client = app.test_client()
    assert client.get("/v1/checks", headers=bearer(make_key("read"))).status_code == 200
    later = make_key("read")
    now[0] += 0.2
    assert client.get("/v1/checks", headers=bearer(later)).status_code == 200
    asked: list[str] = []
    event.listen(database.engine, "before_cursor_execute", lambda *seen: asked.append(seen[2]))
    wrong = bearer(f"tw_{'a' * 8}_{'a' * 32}")
    for _ in range(10):
        now[0] += 0.1
        assert client.get("/v1/checks", headers=wrong).status_code == 401
    assert 1 <= len([one for one in asked if "api_keys" in one]) <= 6


LETTERS = "abcdefghijklmnopqrstuvwxyz234567"
GIVEN = f"tw_{LETTERS[:8]}_{LETTERS}"


@pytest.mark.both_databases
def test_keys_come_from_a_file_for_unattended_set_up(app: Flask, database: Database) -> None:
    """A key of the file opens what its role may; put again it is there once, revoked it stays."""
    lines = f"# keys\n\nagent {GIVEN} till 3\n"
    assert database.write(lambda session: keys.put(session, lines)) == 1
    assert app.test_client().get("/v1/rules", headers=bearer(GIVEN)).status_code == 200
    database.write(lambda session: keys.revoke(session, LETTERS[:8]))
    assert database.write(lambda session: keys.put(session, lines)) == 0
    with database.reading() as session:
        assert not keys.any_in_force(session)


@pytest.mark.parametrize(
    "line",
    [
        f"boss {GIVEN} till",
        f"agent {GIVEN}x till",
        f"agent {GIVEN}",
        "agent",
        f"agent {GIVEN} \x07",
    ],
)
def test_a_bad_line_is_told_without_what_it_says(database: Database, line: str) -> None:
    """The number of the line is told, and nothing of the secret."""
    with pytest.raises(ValueError, match="line 2") as told, database.writing() as session:
        keys.put(session, f"\n{line}")
    assert LETTERS not in str(told.value)


def test_the_first_request_may_come_when_the_store_is_away(
    make_app: Callable[..., Flask], database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker that was asked nothing before still knows that no key is needed here."""
    from contextlib import contextmanager

    from api.store import StoreUnavailableError

    @contextmanager
    def away() -> Any:
        raise StoreUnavailableError("away")
        yield

    app = make_app(database)
    monkeypatch.setattr(database, "reading", away)
    assert app.test_client().get("/v1/rules").status_code == 200
