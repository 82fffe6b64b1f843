"""The shipped base, for the tests of what it says about danger."""

import pytest

from engine.diagnosis import Diagnoser
from engine.rules.cautions import Cautions


@pytest.fixture(scope="session")
def cautions(diagnoser: Diagnoser) -> Cautions:
    """Give the cautions about steps."""
    return diagnoser.cautions
