"""``/v1/groups`` and ``/v1/causes/{id}/separators``."""

from flask.testing import FlaskClient

from engine.audit.groups import look_alikes
from engine.audit.separation import Survey


def test_groups_by_level_circuit_and_voltage(client: FlaskClient, survey: Survey) -> None:
    """The list narrows to the level, circuit, coil style and voltage asked for."""
    every = client.get("/v1/groups").json
    some = client.get("/v1/groups?level=no-check&duty=brake-release&coil=body-ground").json
    assert every["count"] == len(every["groups"]) > some["count"] == len(some["groups"]) > 0
    assert {one["level"] for one in some["groups"]} == {"no-check"}
    assert {tuple(one["coils"]) for one in some["groups"]} == {("body-ground",)}
    assert all(one["circuit"].startswith("brake-release") for one in some["groups"])
    reasons = {row.id for row in look_alikes(survey.knowledge)}
    said = {row["id"] for one in every["groups"] for row in one["declared"]}
    assert said <= reasons
    assert client.get("/v1/groups?system_volts=24&level=no-check").json["count"] > 0


def test_groups_of_a_circuit_that_is_none(client: FlaskClient) -> None:
    """Duty and control that do not go together have no groups, which is no fault."""
    body = client.get("/v1/groups?duty=fuel-shutoff&control=controller-on-request").json
    assert body["count"] == 0


def test_separators_of_a_cause(client: FlaskClient) -> None:
    """A cause comes with what shows it and what tells it from the causes it is taken for."""
    body = client.get("/v1/causes/drive-fault-not-brake/separators?coil=body-ground").json
    assert len(body["circuits"]) == 2
    for one in body["circuits"]:
        assert one["shows"][0]["decibans"] >= one["shows"][-1]["decibans"]
        twin = next(rival for rival in one["taken_for"] if rival["cause"] == "outside")
        assert twin["told_apart"] is False
        assert twin["reason"]
    told = client.get("/v1/causes/winding-shorted-to-body/separators?coil=case-ground").json
    assert all(
        rival["told_apart"] and rival["reason"] is None
        for one in told["circuits"]
        for rival in one["taken_for"]
        if rival["cause"] == "pull-winding-shorted"
    )
