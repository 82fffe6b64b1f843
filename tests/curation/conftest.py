"""What the tests of the knowledge tools share: a survey, a shop's own folder."""

from pathlib import Path

import pytest

from engine import Diagnoser, Knowledge
from engine.audit.separation import Survey
from tests.curation.shop import Shop


@pytest.fixture(autouse=True)
def _surveyed_once(survey: Survey, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the commands on the shipped base, or in one test on the same folder, use what was worked
    out already."""
    last = survey

    def surveyed(diagnoser: Diagnoser) -> Survey:
        nonlocal last
        for one in (survey, last):
            if one.diagnoser.knowledge.version == diagnoser.knowledge.version:
                return one
        last = Survey(diagnoser)
        return last

    monkeypatch.setattr("api.cli.kb.Survey", surveyed)
    monkeypatch.setattr("engine.audit.Survey", surveyed)


@pytest.fixture
def shop(tmp_path: Path, knowledge: Knowledge) -> Shop:
    """An empty folder of a shop's own knowledge."""
    return Shop(tmp_path / "shop", knowledge)
