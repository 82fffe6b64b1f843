"""Things that the tests of the proving ground share."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # decks.py stands beside the tests

from engine import Diagnoser
from engine.knowledge import load_knowledge


@pytest.fixture(scope="session")
def diagnoser() -> Diagnoser:
    """One diagnoser of the shipped knowledge for all tests here."""
    return Diagnoser(load_knowledge())
