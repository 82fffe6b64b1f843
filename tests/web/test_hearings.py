"""``POST /v1/hearings``: a caller's words in, what they may mean out."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from tests.serving import ROOT

PATH = "/v1/hearings"


def test_what_is_heard_fits_the_interface(
    client: FlaskClient, told: Callable[[str], Draft202012Validator]
) -> None:
    """Findings, complaint, causes and checks come with their words; the danger stands first."""
    text = "It won\u2019t shut off since I washed it, clicks but nothing."
    answer = client.post(PATH, json={"text": text})
    told("HearingAnswer").validate(answer.json)
    heard: dict[str, Any] = answer.json
    assert next(iter(heard)) == "cautions"
    assert [one["id"] for one in heard["cautions"]] == ["engine-that-does-not-stop"]
    assert heard["cautions"][0]["text"].startswith("The key does not stop this engine.")
    assert [one["outcome"] for one in heard["complaints"]] == ["will-not-stop"]
    assert [one["check"] for one in heard["findings"]] == [
        "recent-work", "relay-click", "plunger-action",
    ]  # fmt: skip
    for one in (*heard["findings"], *heard["causes"], *heard["checks"]):
        for words in one["heard"]:
            assert text[words["start"] : words["end"]] == words["words"]


@pytest.mark.parametrize(
    ("sent", "path"),
    [
        ({}, "text"),
        ({"text": 5}, "text"),
        ({"text": "x" * 4001}, "text"),
        ({"text": "a\u0000b"}, "text"),
        ({"text": "no click", "duty": "fuel-shutof"}, "duty"),
        ({"text": "no click", "word": "en"}, "word"),
        (["no click"], ""),
    ],
)
def test_what_cannot_be_heard_is_refused_by_its_place(
    client: FlaskClient, sent: object, path: str
) -> None:
    """A text that is missing, too long or no text, and a strange key, are refused by name."""
    answer = client.post(PATH, json=sent)
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert [one["path"] for one in answer.json["errors"]] == [path]


def test_the_example_for_programmers_is_what_is_answered(client: FlaskClient) -> None:
    """What the page for programmers shows of an answer is what its request gets."""
    page = (ROOT / "api" / "docs" / "programmers.md").read_text(encoding="utf-8")
    section = page.split("## A caller's words\n")[1].split("\n## ")[0]
    sent = re.search(r"-d '(.*?)'", section)
    shown = re.search(r"```json\n(.*?)```", section, re.DOTALL)
    assert sent is not None
    assert shown is not None
    answer = client.post(PATH, json=json.loads(sent[1])).json
    assert answer["findings"][0] == json.loads(shown[1])
    assert answer["cautions"] == []
