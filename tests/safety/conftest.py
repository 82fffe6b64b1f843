"""The shipped base, for the tests of what it says about danger."""

import pytest

from engine.cautions import Cautions
from engine.diagnosis import Diagnoser


@pytest.fixture(scope="session")
def cautions(diagnoser: Diagnoser) -> Cautions:
    """Give the cautions about steps."""
    return diagnoser.cautions
