"""What the comparisons share: the knowledge base, sizes, and figures printed after the run.

A comparison hands its figures to the ``figure`` fixture; they appear in the terminal summary
whether or not output is captured. ``TESTS_SLOW=1`` makes every random comparison twenty times
as large.
"""

from collections.abc import Callable, Iterator

import pytest

from engine import Diagnoser
from engine.physics.model import ModelStore
from tests.sweeps import SLOW

SLOW_FACTOR = 20
FIGURE = "reference figure"
_WRITTEN = pytest.StashKey[bool]()


@pytest.fixture(scope="session")
def models(diagnoser: Diagnoser) -> ModelStore:
    """Give the store that builds the models of machines."""
    return diagnoser.models


@pytest.fixture(scope="session")
def enlarged() -> Callable[[int], int]:
    """Give a function that returns how many cases to draw: twenty times as many when slow."""
    return lambda count: count * SLOW_FACTOR if SLOW else count


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Give a function that takes a line for the summary after the run."""
    return lambda line: record_property(FIGURE, line)


def _figures(reports: list[pytest.TestReport]) -> Iterator[tuple[str, str]]:
    for report in reports:
        for name, line in getattr(report, "user_properties", ()):
            if name == FIGURE and report.when == "call":
                yield report.nodeid.rpartition("/")[2], str(line)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the figures of the comparisons, once.

    Workers of pytest-xdist send their figures along with their reports; for the summary of such a
    run tests/conftest.py has to bring this hook in, since nothing is collected where it is written.
    """
    if terminalreporter.config.stash.get(_WRITTEN, False):
        return
    terminalreporter.config.stash[_WRITTEN] = True
    reports = [one for kind in ("passed", "failed") for one in terminalreporter.getreports(kind)]
    found = sorted(_figures(reports), key=lambda pair: pair[0])
    if found:
        terminalreporter.section("compared with things outside the project")
    for test, line in found:
        terminalreporter.write_line(f"{test}: {line}")
