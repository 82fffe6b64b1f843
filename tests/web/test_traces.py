"""``POST /v1/traces``: recordings over HTTP, bounded, one at a time."""

from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.recordings.document import READING
from api.web import traces
from tests.traces.support import text, write_wav

PATH = "/v1/traces"


def send(client: FlaskClient, raw: str | bytes, kind: str = "text/csv", **query: Any) -> Any:
    """Post a recording."""
    return client.post(PATH, data=raw, content_type=kind, query_string=query)


def test_findings_come_out_as_a_diagnosis_takes_them(client: FlaskClient) -> None:
    """CSV in; the findings go into a request as they stand."""
    answer = send(client, text(";", ","))
    assert answer.status_code == 200, answer.json
    assert {one["check"] for one in answer.json["findings"]} >= {"pull-current", "pull-pin-voltage"}
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    request = {"machine": machine, "findings": answer.json["findings"], "on_hand": []}
    assert client.post("/v1/diagnoses", json=request).status_code == 200


def test_the_answer_has_the_keys_that_the_document_tells(client: FlaskClient, told: Any) -> None:
    """No key beside those of the schema, none missing."""
    told("TraceAnswer").validate(send(client, text()).json)


def test_it_says_what_the_command_says(client: FlaskClient, run: Any, tmp_path: Path) -> None:
    """The same bytes at both doors."""
    (tmp_path / "x.csv").write_text(text())
    assert send(client, text()).get_data(as_text=True).strip() == (
        run("trace", "--json", tmp_path / "x.csv").stdout.strip()
    )


def test_a_sound_is_taken_with_its_scale(client: FlaskClient, tmp_path: Path) -> None:
    """audio/wav, gains in the query."""
    raw = write_wav(tmp_path / "x.wav").read_bytes()
    answer = send(client, raw, "audio/wav", channels="pull-current*100,pull-volts*20")
    assert answer.json["findings"][0]["value"] == pytest.approx(30, rel=0.01)


@pytest.mark.parametrize(
    ("raw", "query", "path", "words"),
    [
        (text().replace("0.60000;", "oops;"), {}, "row 3002, column 1", "'oops'"),
        ("", {}, "", "empty"),
        (b"\x89PNG\r\n" + bytes(900), {}, "row 1", "no text"),
        (text(), {"channels": "time,pul-current,-"}, "channels[1]", "did you mean"),
        (text(), {"rate": "2"}, "query.rate", ""),
        (text(), {"rate": "nan"}, "query.rate", ""),
        (text(), {"colour": "2"}, "query.colour", "unknown"),
    ],
)
def test_what_is_wrong_has_its_place(
    client: FlaskClient, raw: str | bytes, query: dict[str, str], path: str, words: str
) -> None:
    """One problem document with row and column, or the parameter."""
    answer = send(client, raw, **query)
    assert answer.status_code == 422
    assert answer.mimetype == "application/problem+json"
    assert answer.json["errors"][0]["path"] == path
    assert words in answer.json["errors"][0]["message"]


def test_other_media_types_are_told_which_are_taken(client: FlaskClient) -> None:
    """415, and Accept-Post names both."""
    answer = send(client, text(), "application/json")
    assert answer.status_code == 415
    assert answer.headers["Accept-Post"] == "text/csv, audio/wav"


def test_more_than_the_bound_is_not_read(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """413, whatever length was announced; a body that ends early is 400."""
    monkeypatch.setattr(traces, "MOST_BYTES", 100_000)
    assert send(client, text()).status_code == 413
    length = {"CONTENT_LENGTH": "900"}
    cut = client.post(PATH, data=b"1;2\n", environ_overrides=length, content_type="text/csv")
    assert cut.status_code == 400


def test_one_recording_at_a_time(client: FlaskClient) -> None:
    """A second one is told when to come again, and what failed takes no place."""
    with READING:
        refused = send(client, text())
    assert refused.status_code == 429
    assert refused.headers["Retry-After"] == "5"
    assert send(client, "no numbers").status_code == 422
    assert send(client, text()).status_code == 200
