"""The shipped base, for the tests of what it says about danger."""

import pytest

from engine.cautions import Cautions
from engine.diagnosis import Diagnoser, shipped
from engine.knowledge import Knowledge


@pytest.fixture(scope="session")
def diagnoser() -> Diagnoser:
    """Give the diagnoser of the shipped base."""
    return shipped()


@pytest.fixture(scope="session")
def knowledge(diagnoser: Diagnoser) -> Knowledge:
    """Give the shipped base."""
    return diagnoser.knowledge


@pytest.fixture(scope="session")
def cautions(diagnoser: Diagnoser) -> Cautions:
    """Give the cautions about steps."""
    return diagnoser.cautions
