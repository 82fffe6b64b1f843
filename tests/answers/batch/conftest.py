"""Requests as lines, good and bad, and the engine that answers them."""

import json
from typing import Any

import pytest
from flask import Flask

from api import create_app
from api.answers import demos
from api.service import current
from api.settings import load
from engine import Diagnoser, Knowledge

BAD = (
    b"{nonsense",
    b"",
    b"[]",
    b'{"machine":{}}',
    b"\xff\xfe",
    b'{"a":1,"a":2}',
    b"\xef\xbb\xbf{}",
)


@pytest.fixture
def app(knowledge: Knowledge, engine: Diagnoser) -> Flask:
    """The application, with thirty lines as the most that a batch may have."""
    made = create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine})
    with made.app_context():
        current().settings = load({"batch_lines": 30}, environment={})
    return made


@pytest.fixture(scope="session")
def good() -> list[bytes]:
    """The demo requests, one a line."""
    return [json.dumps(case.request).encode() for case in demos.load_all()]


@pytest.fixture(scope="session")
def mixed(good: list[bytes]) -> list[bytes]:
    """Good and bad lines by turns."""
    lines: list[Any] = [one for bad in BAD for one in (good[0], bad, good[1])]
    return lines
