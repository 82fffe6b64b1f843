"""Whatever a client sends, the service answers, and never with a 500."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.answers.problems import MOST_ERRORS

JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**25), 10**25)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.sampled_from(
        ["V", "mV", "ohm", "kohm", "open", "not-known", "body", "left", "unknown", "ask", "", "\0"]
    )
    | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
    max_leaves=6,
)
TUNED = settings(derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])


def sends(app: Flask, raw: bytes) -> int:
    """Post ``raw`` as JSON and return the status, after checking that it is no 500."""
    response = app.test_client().post("/v1/diagnoses", data=raw, content_type="application/json")
    assert response.status_code in (200, 400, 422), (raw, response.data)
    json.loads(response.data)
    return response.status_code


@TUNED
@given(st.data())
def test_one_part_replaced_by_junk(app: Flask, case: dict[str, Any], data: st.DataObject) -> None:
    """A good request with any one part of it replaced by junk is refused or answered."""
    changed = json.loads(json.dumps(case))
    changed["findings"][4] |= {
        "meter": {"percent": 1.0, "counts": 2},
        "lead_ohms": 0.1,
        "celsius": 20,
    }
    place: Any = changed
    while isinstance(place, (dict, list)) and place:
        keys = sorted(place) if isinstance(place, dict) else range(len(place))
        key: Any = data.draw(st.sampled_from(list(keys)))
        if not isinstance(place[key], (dict, list)) or data.draw(st.booleans()):
            place[key] = data.draw(JUNK)
            break
        place = place[key]
    sends(app, json.dumps(changed).encode())


FINDINGS = [
    ({"check": "pull-pin-voltage", "value": 10**30, "unit": "V"}, 422),
    ({"check": "pull-pin-voltage", "value": 1e308, "unit": "kV"}, 422),
    ({"check": "pull-pin-voltage", "value": -1e308, "unit": "MV"}, 422),
    ({"check": "pull-pin-voltage", "value": True, "unit": "V"}, 422),
    ({"check": "pull-pin-voltage", "value": "11.4", "unit": "V"}, 422),
    ({"check": "pull-pin-voltage", "value": [11.4], "unit": "V"}, 422),
    ({"check": "pull-pin-voltage", "value": 11.4, "unit": "ohm"}, 422),
    ({"check": "pull-pin-voltage", "value": 11.4, "unit": "\uff56"}, 422),
    ({"check": "pull-pin-voltage", "value": 11.4, "unit": "V", "celsius": -1e6}, 422),
    ({"check": "pull-current", "value": 5, "unit": "A", "meter": {"percent": 1e308}}, 422),
    ({"check": "pull-current", "value": 5, "unit": "A", "meter": {"percent": -1}}, 422),
    ({"check": "pull\u202e-current", "value": 5, "unit": "A"}, 422),
    ({"check": "\u0440ull-current", "value": 5, "unit": "A"}, 422),  # a Cyrillic letter
    ({"check": "pull-current\0", "value": 5, "unit": "A"}, 422),
    ({"check": "__class__", "outcome": "open"}, 422),
    ({"check": "engine-response", "outcome": "open"}, 422),
    ({"check": "engine-response", "value": 1, "unit": "V"}, 422),
    ({"check": "x" * 100_000}, 422),
    ({"check": "pull-current", "value": 5, "unit": "A", "__proto__": {}}, 422),
]


@pytest.mark.parametrize(("finding", "status"), FINDINGS)
def test_hostile_findings(
    post: Callable[..., Any], case: dict[str, Any], finding: dict[str, Any], status: int
) -> None:
    """Numbers beyond sense, look-alike letters and wrong types are refused with their path."""
    response = post(case | {"findings": [finding]})
    assert response.status_code == status
    errors = response.get_json(force=True)["errors"]
    assert all(error["path"].startswith("findings[0]") for error in errors)
    assert len(response.data) < 5_000


@pytest.mark.parametrize(
    "faulty",
    [
        {"findings": [{"check": f"pull-pin-voltag{i}"} for i in range(30_000)]},
        {"excluded": [f"pull-winding-opn{i}" for i in range(40_000)]},
        {"on_hand": [f"metre{i}" for i in range(60_000)]},
        {"findings": [{"check": "pull-current", "circumstances": ["ho"] * 150_000}]},
        {f"extra{i}": i for i in range(900)},
    ],
    ids=["findings", "excluded", "on_hand", "circumstances", "fields"],
)
def test_a_body_full_of_faults_is_answered_with_a_bounded_text(
    post: Callable[..., Any], case: dict[str, Any], faulty: dict[str, Any]
) -> None:
    """A megabyte of misspelt words is answered, and the answer stays bounded."""
    response = post(case | faulty)
    assert response.status_code == 422
    assert 0 < len(response.get_json(force=True)["errors"]) <= MOST_ERRORS
    assert len(response.data) < 50_000


def test_no_more_than_a_hundred_faults_are_told(post: Callable[..., Any]) -> None:
    """Whoever sends 900 unknown fields reads of a hundred of them, and how many there are: with
    the machine, which is not there, 901."""
    response = post({f"key {place}": 1 for place in range(900)})
    assert response.status_code == 422
    document = response.get_json(force=True)
    assert len(document["errors"]) == MOST_ERRORS == 100
    assert document["detail"].startswith(f"{900 + 1} things")


def test_an_object_of_too_many_keys_is_not_read(post: Callable[..., Any]) -> None:
    """An object of one key more than is read is refused as such, and so are fifty thousand."""
    for count in (1_001, 50_000):
        response = post({f"extra{i}": i for i in range(count)})
        assert response.status_code == 400
        assert "more than 1000 keys" in response.get_json(force=True)["detail"]
