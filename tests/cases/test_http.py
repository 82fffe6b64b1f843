"""Cases over HTTP: versions, keys, faults and who may do what."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

from api import create_app
from api.access import keys
from api.cases import idempotency
from api.store import Database
from api.store.models import KeptAnswer
from engine import Diagnoser, Knowledge
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS

Opened = Callable[..., str]


def faults(response: Any) -> dict[str, str]:
    """Return what is wrong, by path."""
    return {one["path"]: one["message"] for one in response.get_json(force=True)["errors"]}


@pytest.mark.parametrize("write", ["{0} {1}", "{0}-{1}", "{0}.{1}", "{0}{1}"])
def test_numbers_are_taken_as_they_are_read_out(
    client: FlaskClient, opened: Opened, write: str
) -> None:
    """A gap in the address leads to the same case."""
    digits = opened().removeprefix("/v1/cases/")
    response = client.get(f"/v1/cases/{write.format(digits[:4], digits[4:])}")
    assert response.json["number"].replace(" ", "") == digits


def test_a_slip_in_the_number_is_told(client: FlaskClient, opened: Opened) -> None:
    """The 404 says that a digit is wrong and names the case that it may have been."""
    digits = opened().removeprefix("/v1/cases/")
    wrong = digits[:-1] + str((int(digits[-1]) + 1) % 10)
    response = client.get(f"/v1/cases/{wrong}")
    assert response.status_code == 404
    assert "slip" in response.json["detail"]
    assert response.json["slip"] is True
    assert f"{digits[:4]} {digits[4:]}" in response.json["nearest"]


def test_a_reader_who_has_it_gets_304(client: FlaskClient, opened: Opened) -> None:
    """Case, diagnosis, steps, list and work order say so when nothing changed, and only then."""
    address = opened()
    ends = ["", "/diagnosis", "/steps", "/work-order.json", "/work-order.csv", "/work-order.html"]
    addresses = [address + end for end in ends] + ["/v1/cases", "/v1/learning"]
    tags = {one: client.get(one).headers["ETag"] for one in addresses}
    for one, tag in tags.items():
        response = client.get(one, headers={"If-None-Match": tag})
        assert (response.status_code, response.data) == (304, b""), one
    client.post(f"{address}/findings", json=VOLTS)
    for one in addresses[:-1]:
        assert client.get(one, headers={"If-None-Match": tags[one]}).status_code == 200, one


OLD, STRANGE = "11.4 V", "names no version"


@pytest.mark.parametrize(
    ("tag", "because"),
    [('"1"', OLD), ('W/"1"', OLD), ("2", STRANGE), ('"99999999999"', STRANGE)],
)  # fmt: skip
def test_a_version_that_is_not_the_present_one_is_refused(
    client: FlaskClient, opened: Opened, tag: str, because: str
) -> None:
    """412 shows the case as it is and what changed, and says why: an old version, or none."""
    address = opened()
    client.post(f"{address}/findings", json=VOLTS)
    headers = {"If-Match": tag}
    for response in (
        client.patch(address, json={"complaint": "x"}, headers=headers),
        client.post(f"{address}/findings", json=AMPS, headers=headers),
        client.post(f"{address}/findings/1/withdraw", json={}, headers=headers),
        client.post(f"{address}/close", json={"cause": "healthy"}, headers=headers),
        client.get(address, headers=headers),
    ):
        assert response.status_code == 412, response.text
        told = response.get_json(force=True)
        assert told["current"] == client.get(address).json
        assert told["changes"][-1]["kind"] == "finding-added"
        assert because in told["detail"]
        assert response.headers["ETag"] == '"2"'


@pytest.mark.parametrize("tag", ['W/"1"', '"1-gzip"', 'W/"1;br"'])
def test_a_tag_that_a_compressing_proxy_made_its_own_is_ours(
    client: FlaskClient, opened: Opened, tag: str
) -> None:
    """Weakened, or with the encoding behind it, the version is the same: close goes through."""
    closed = client.post(f"{opened()}/close", json={"cause": "healthy"}, headers={"If-Match": tag})
    assert closed.status_code == 200, closed.text


def test_one_of_several_tags_is_enough(client: FlaskClient, opened: Opened) -> None:
    """If-Match may list tags (RFC 9110, 13.1.1)."""
    address = opened()
    headers = {"If-Match": '"7", "1"'}
    assert client.patch(address, json={"complaint": "x"}, headers=headers).status_code == 200
    assert client.patch(address, json={"complaint": "y"}, headers=headers).status_code == 412


def test_changing_and_closing_need_a_version(client: FlaskClient, opened: Opened) -> None:
    """Without If-Match they are refused with 428; with * they go through."""
    address = opened()
    assert client.patch(address, json={"complaint": "x"}).status_code == 428
    assert client.post(f"{address}/close", json={"cause": "healthy"}).status_code == 428
    anyhow = {"If-Match": "*"}
    assert client.patch(address, json={"complaint": "x"}, headers=anyhow).status_code == 200


def test_patch_merges(client: FlaskClient, opened: Opened) -> None:
    """A field that is left out stays, null clears a text (RFC 7396)."""
    address = opened(complaint="Dies.", reference="W-1")
    changes = {"complaint": None, "machine": {"fuse_amps": 30}, "by": "Dana"}
    case = client.patch(address, json=changes, headers={"If-Match": '"1"'}).json
    assert (case["complaint"], case["reference"]) == ("", "W-1")
    assert case["machine"] == MACHINE | {"fuse_amps": 30}


def test_faults_of_one_finding_have_short_paths(client: FlaskClient, opened: Opened) -> None:
    """Paths lead into the body as it was sent: alone, or as a list."""
    address, bad = opened(findings=[CRANKS]), VOLTS | {"unit": "W"}
    assert list(faults(client.post(f"{address}/findings", json=bad))) == ["unit"]
    several = {"findings": [VOLTS, bad]}
    assert list(faults(client.post(f"{address}/findings", json=several))) == ["findings[1].unit"]
    assert client.post(f"{address}/findings", json={"findings": [], "x": 1}).status_code == 422
    assert client.post(f"{address}/findings", json={"findings": []}).status_code == 422


@pytest.mark.both_databases
def test_same_key_same_answer(client: FlaskClient, opened: Opened) -> None:
    """A repeated request gets the kept answer, even when the case has moved on."""
    address, headers = opened(), {"Idempotency-Key": "till 3, job 7"}
    headers = {"Idempotency-Key": "till-3-job-7"}
    first = client.post(f"{address}/findings", json=VOLTS, headers=headers)
    client.post(f"{address}/findings", json=AMPS)
    again = client.post(f"{address}/findings", json=VOLTS, headers=headers)
    assert again.data == first.data
    assert again.status_code == 201
    assert again.headers["ETag"] == first.headers["ETag"] == '"2"'
    assert again.headers["Location"] == first.headers["Location"]
    assert again.headers["Idempotent-Replayed"] == "true"
    assert "Idempotent-Replayed" not in first.headers
    assert client.get(address).json["version"] == 3


def test_same_key_other_request_is_refused(client: FlaskClient, opened: Opened) -> None:
    """Another body or another address under a key that was used is a mistake, and told so."""
    address, headers = opened(), {"Idempotency-Key": "k"}
    client.post(f"{address}/findings", json=VOLTS, headers=headers)
    for end, body in (("/findings", AMPS), ("/reopen", {})):
        response = client.post(address + end, json=body, headers=headers)
        assert response.status_code == 422
        assert list(faults(response)) == ["header.Idempotency-Key"]
    assert client.get(address).json["version"] == 2


def test_closing_and_reopening_are_done_once(client: FlaskClient, opened: Opened) -> None:
    """The answer to a repeated closing is the closed case, not a complaint that it is closed."""
    address = opened()
    for end, body, version in (("/close", {"cause": "healthy"}, 2), ("/reopen", {}, 3)):
        headers = {"Idempotency-Key": end, "If-Match": f'"{version - 1}"'}
        answers = [client.post(address + end, json=body, headers=headers) for _ in range(2)]
        assert [one.status_code for one in answers] == [200, 200]
        assert answers[0].data == answers[1].data
        assert client.get(address).json["version"] == version


def test_a_refused_request_keeps_no_answer(client: FlaskClient, opened: Opened) -> None:
    """After a fault the same key may carry the corrected request."""
    address, headers = opened(), {"Idempotency-Key": "k"}
    bad = client.post(f"{address}/findings", json=VOLTS | {"unit": "W"}, headers=headers)
    assert bad.status_code == 422
    good = client.post(f"{address}/findings", json=VOLTS, headers=headers)
    assert (good.status_code, good.headers.get("Idempotent-Replayed")) == (201, None)


@pytest.mark.parametrize("key", ["", "a b", "x" * 256, "ä"])
def test_a_strange_key_is_refused(client: FlaskClient, key: str) -> None:
    """A key is 1 to 255 visible ASCII characters."""
    response = client.post("/v1/cases", json={"machine": MACHINE}, headers={"Idempotency-Key": key})
    assert response.status_code == 422
    assert list(faults(response)) == ["header.Idempotency-Key"]


@pytest.mark.both_databases
def test_keys_are_forgotten_after_a_day(
    client: FlaskClient, database: Database, opened: Opened
) -> None:
    """An old answer is not given any more, and old ones are thrown away as new ones come."""
    old = datetime.now(UTC) - idempotency.KEPT - timedelta(minutes=1)
    with database.writing() as session:
        for key in ("k", "other"):
            session.add(KeptAnswer(caller="local", key=key, fingerprint="0" * 64, status=201,
                                   headers={}, body="{}", at=old))  # fmt: skip
    response = client.post("/v1/cases", json={"machine": MACHINE}, headers={"Idempotency-Key": "k"})
    assert (response.status_code, response.headers.get("Idempotent-Replayed")) == (201, None)
    with database.reading() as session:
        assert session.get(KeptAnswer, ("local", "other")) is None
        assert session.get(KeptAnswer, ("local", "k")).status == 201  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("end", "message"),
    [
        ("?limit=0", "query.limit"), ("?limit=201", "query.limit"), ("?limit=x", "query.limit"),
        ("?state=lost", "query.state"), ("?cursor=x", "query.cursor"), ("?who=x", "query.who"),
        ("?text=a&text=b", "query.text"), ("?text=%00", "query.text"),
        ("?fleet_number=" + "x" * 41, "query.fleet_number"), ("?cursor=%F0%9F", "query.cursor"),
    ],
)  # fmt: skip
def test_a_bad_query_is_refused(client: FlaskClient, end: str, message: str) -> None:
    """Each fault of the query is named."""
    response = client.get(f"/v1/cases{end}")
    assert response.status_code == 422
    assert list(faults(response)) == [message]


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{", "application/json", 400), (b"[]", "application/json", 422),
        (b'{"machine":1,"machine":2}', "application/json", 400),
        (b"\xff", "application/json", 400), (b"{}", "text/plain", 415),
        (b" " * (1024 * 1024 + 1), "application/json", 413),
        (b'{"machine":{},"by":7}', "application/json", 422),
        (b'{"machine":{},"by":" "}', "application/json", 422),
        (b'{"machine":{},"by":"a\\u0000"}', "application/json", 422),
        (b'{"machine":{},"by":"Ana via till 3"}', "application/json", 422),
        (b'{"machine":{},"by":"Ana\\u202e"}', "application/json", 422),
        (b'{"machine":{},"by":"' + b"x" * 81 + b'"}', "application/json", 422),
    ],
)  # fmt: skip
def test_a_bad_body_is_refused(client: FlaskClient, body: bytes, kind: str, status: int) -> None:
    """What is no JSON object of reasonable size gets a problem document, and nothing is kept."""
    response = client.post("/v1/cases", data=body, content_type=kind)
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    assert client.get("/v1/cases").json["cases"] == []


@pytest.mark.parametrize(
    ("end", "body", "name"),
    [
        ("", {"machine": MACHINE, "findings": [1] * 501}, "findings"),
        ("/findings", {"findings": [1] * 1001}, "findings"),
        ("/close", {"cause": "healthy", "replaced": [1] * 31}, "replaced"),
    ],
)
def test_a_list_is_counted_before_it_is_read(
    client: FlaskClient, opened: Opened, end: str, body: dict[str, Any], name: str
) -> None:
    """Of a list that is too long that is told, and nothing of what stands in it: a megabyte of
    junk would keep a thread for seconds."""
    address = opened() + end if end else "/v1/cases"
    response = client.post(address, json=body, headers={"If-Match": "*"})
    assert response.status_code == 422
    assert list(faults(response)) == [name]


@pytest.mark.parametrize(
    ("end", "body", "near"),
    [
        ("", {"machine": MACHINE, "complaints": "x"}, "'complaint'"),
        ("/findings", {"findings": [CRANKS], "findngs": []}, "'findings'"),
        ("/close", {"cause": "healthy", "minute": 3}, "'minutes'"),
        ("/reopen", {"becuase": "x"}, "'because'"),
    ],
)
def test_an_unknown_field_comes_with_the_nearest(
    client: FlaskClient, opened: Opened, end: str, body: dict[str, Any], near: str
) -> None:
    """Each body is loaded by its schema, which names the field that was probably meant."""
    address = opened() + end if end else "/v1/cases"
    response = client.post(address, json=body, headers={"If-Match": "*"})
    assert response.status_code == 422
    assert list(faults(response)) == list(body)[-1:]
    assert f"did you mean {near}?" in faults(response)[list(body)[-1]]


@pytest.mark.parametrize("place", ["0", "2", "-1", "x", "1e3", "9" * 30, "%00", "\u0661"])
def test_a_place_that_is_none(client: FlaskClient, opened: Opened, place: str) -> None:
    """A finding that the case does not have is not there."""
    address = opened(findings=[CRANKS])
    assert client.post(f"{address}/findings/{place}/withdraw", json={}).status_code == 404


@pytest.mark.parametrize("number", ["1", "%00", "..%2f..", "' OR 1=1", "9" * 400, "12345678%0d%0a"])
def test_a_number_that_is_none(client: FlaskClient, number: str) -> None:
    """Whatever stands in the address, the answer is 404 with a sentence."""
    for method, end in (("GET", ""), ("PATCH", ""), ("GET", "/diagnosis"), ("GET", "/steps"),
                        ("POST", "/close"), ("GET", "/work-order.csv")):  # fmt: skip
        response = client.open(
            f"/v1/cases/{number}{end}", method=method, headers={"If-Match": "*"},
            **({} if method == "GET" else {"json": {}}),
        )  # fmt: skip
        assert response.status_code == 404, (method, end, response.text)


def test_without_a_store_there_are_no_cases(engine: Diagnoser, knowledge: Knowledge) -> None:
    """A service that keeps nothing says which setting is missing."""
    client = create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine}).test_client()
    for response in (
        client.get("/v1/cases"), client.post("/v1/cases", json={"machine": MACHINE}),
        client.get("/v1/cases/48291373"), client.get("/v1/learning"),
    ):  # fmt: skip
        assert response.status_code == 503
        assert "'database'" in response.get_json(force=True)["detail"]


@pytest.fixture
def headers(database: Database) -> Callable[[str], dict[str, str]]:
    """Make a key with a role and return the header that carries it."""

    def make(role: str) -> dict[str, str]:
        with database.writing() as session:
            _, text = keys.make(session, f"{role} key", role)
        return {"Authorization": f"Bearer {text}"}

    return make


def test_keys_of_two_callers_do_not_meet(
    client: FlaskClient, headers: Callable[[str], dict[str, str]]
) -> None:
    """An Idempotency-Key counts within one caller's API key; nobody is given another's answer."""
    one, other = headers("agent"), headers("agent")
    key = {"Idempotency-Key": "k"}
    first = client.post("/v1/cases", json={"machine": MACHINE}, headers=one | key)
    second = client.post("/v1/cases", json={"machine": MACHINE}, headers=other | key)
    assert first.headers["Location"] != second.headers["Location"]
    assert "Idempotent-Replayed" not in second.headers
