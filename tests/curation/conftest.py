"""What the tests of the knowledge tools share: a survey, a shop's own folder."""

from pathlib import Path

import pytest

from engine import Diagnoser, Knowledge
from engine.audit import Survey
from tests.curation.shop import Shop


@pytest.fixture(scope="session")
def survey(diagnoser: Diagnoser) -> Survey:
    """What the shipped base tells apart; worked out once for all tests."""
    return Survey(diagnoser)


@pytest.fixture
def shop(tmp_path: Path, knowledge: Knowledge) -> Shop:
    """An empty folder of a shop's own knowledge."""
    return Shop(tmp_path / "shop", knowledge)
