"""The knowledge base over HTTP: lists, filters, single items."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from flask.testing import FlaskClient

KB = Path(__file__).parents[2] / "kb"
KINDS = ["causes", "checks", "circuits", "rules"]


@cache
def files(kind: str) -> dict[str, dict[str, Any]]:
    """Return the knowledge files of a kind by id, read without the engine."""
    loaded = (yaml.load(path.read_text(), yaml.CSafeLoader) for path in (KB / kind).rglob("*.yaml"))
    found = {item["id"]: item for item in loaded}
    return {key: item for key, item in found.items() if kind != "circuits" or "duty" in item}


@pytest.mark.parametrize("kind", KINDS)
def test_list_holds_every_file(client: FlaskClient, kind: str) -> None:
    """Without a filter a list names exactly the files of the knowledge base, in order of id."""
    body = client.get(f"/v1/{kind}").json
    ids = [item["id"] for item in body[kind]]
    assert ids == sorted(files(kind))
    assert body["count"] == len(ids)


@pytest.mark.parametrize("kind", ["causes", "checks", "rules"])
def test_item_is_its_file(client: FlaskClient, kind: str) -> None:
    """An item comes as it stands in its file, keys in the file's order."""
    for key, item in list(files(kind).items())[:40]:
        got = client.get(f"/v1/{kind}/{key}").json
        assert list(got) == list(item)
        assert got["id"] == key
        assert got["source"] == item["source"]


def allows(item: dict[str, Any], **asked: str) -> bool:
    """Return whether a file's applies leaves room for the machine that is asked for."""
    alternatives = item.get("applies_any") or [item["applies"]]
    return any(
        all(value in alternative.get(field, [value]) for field, value in asked.items())
        for alternative in alternatives
    )


@pytest.mark.parametrize("kind", ["causes", "checks"])
@pytest.mark.parametrize(
    "asked",
    [
        {"duty": "fuel-shutoff"},
        {"duty": "brake-release", "control": "ignition-timed"},
        {"control": "controller-on-crank", "coil": "body-ground"},
        {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"},
    ],
)
def test_machine_filters(client: FlaskClient, kind: str, asked: dict[str, str]) -> None:
    """A list filtered by machine holds what can occur on that machine, and nothing else."""
    expected = sorted(key for key, item in files(kind).items() if allows(item, **asked))
    got = [item["id"] for item in client.get(f"/v1/{kind}", query_string=asked).json[kind]]
    assert got == expected
    assert 0 < len(got) < len(files(kind)) or asked == {"coil": "body-ground"}


@pytest.mark.parametrize(
    ("kind", "field", "value"),
    [
        ("causes", "section", "wiring"),
        ("checks", "kind", "lamp"),
        ("rules", "family", "traps"),
        ("circuits", "duty", "brake-release"),
        ("circuits", "control", "controller-on-crank"),
    ],
)
def test_own_filters(client: FlaskClient, kind: str, field: str, value: str) -> None:
    """Each list has the filter of its own field."""
    expected = sorted(key for key, item in files(kind).items() if item[field] == value)
    got = [item["id"] for item in client.get(f"/v1/{kind}?{field}={value}").json[kind]]
    assert expected
    assert got == expected


@pytest.mark.parametrize(
    ("path", "where", "says"),
    [
        ("/v1/causes?duty=fuel-shutof", "query.duty", "did you mean 'fuel-shutoff'?"),
        ("/v1/causes?section=wirin", "query.section", "did you mean 'wiring'?"),
        ("/v1/checks?kind=metre", "query.kind", "did you mean 'meter'?"),
        ("/v1/rules?family=trap", "query.family", "did you mean 'traps'?"),
        ("/v1/rules?famly=traps", "query.famly", "did you mean 'family'?"),
        ("/v1/circuits?coil=body-ground", "query.coil", "unknown query parameter"),
        ("/v1/causes?duty=fuel-shutoff&duty=brake-release", "query.duty", "more than once"),
        ("/v1/causes?duty=", "query.duty", "unknown duty"),
        ("/v1/causes/ground-open?x=1", "query.x", "none is taken here"),
        ("/healthz?x=1", "query.x", "none is taken here"),
    ],
)
def test_strange_queries_are_refused(client: FlaskClient, path: str, where: str, says: str) -> None:
    """A filter that does not exist is not ignored: it is refused with the nearest right one."""
    response = client.get(path)
    assert response.status_code == 422
    (error,) = response.get_json(force=True)["errors"]
    assert error["path"] == where
    assert says in error["message"]


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("/v1/causes/ground-resistve", "ground-resistive"),
        ("/v1/checks/pull-pin-volts", "pull-pin-voltage"),
        ("/v1/circuits/fuel-shutoff-ignition-time", "fuel-shutoff-ignition-timed"),
    ],
)
def test_unknown_item_names_the_nearest(client: FlaskClient, path: str, near: str) -> None:
    """A misspelt id is a 404 that names the nearest id there is."""
    response = client.get(path)
    assert response.status_code == 404
    assert f"did you mean '{near}" in response.get_json(force=True)["detail"]


def test_ready_counts_what_is_loaded(client: FlaskClient) -> None:
    """Readiness says how much knowledge is loaded; the counts are those of the files."""
    body = client.get("/readyz").json
    assert body["status"] == "ready"
    assert {kind: body[kind] for kind in KINDS} == {kind: len(files(kind)) for kind in KINDS}
