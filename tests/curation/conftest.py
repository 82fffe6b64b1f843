"""What the tests of the knowledge tools share: the command line, a survey, a shop's own folder."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cli.main import threewire
from engine import Diagnoser, Knowledge
from engine.audit import Survey
from tests.curation.shop import Shop


@pytest.fixture(scope="session")
def survey(knowledge: Knowledge) -> Survey:
    """What the shipped base tells apart; worked out once for all tests."""
    return Survey(Diagnoser(knowledge))


@pytest.fixture
def run() -> Callable[..., Result]:
    """Run the command line in this process."""

    def call(*arguments: str | Path) -> Result:
        return CliRunner().invoke(threewire, [str(one) for one in arguments])

    return call


@pytest.fixture
def shop(tmp_path: Path, knowledge: Knowledge) -> Shop:
    """An empty folder of a shop's own knowledge."""
    return Shop(tmp_path / "shop", knowledge)
