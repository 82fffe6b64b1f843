"""Figures of comparisons with things outside the project, printed after the run.

A comparison hands its figures to the ``figure`` fixture; they appear in the terminal summary
whether or not output is captured.
"""

from collections.abc import Iterator

import pytest

FIGURE = "reference figure"


def _figures(reports: list[pytest.TestReport]) -> Iterator[tuple[str, str]]:
    for report in reports:
        for name, line in getattr(report, "user_properties", ()):
            if name == FIGURE and report.when == "call":
                yield report.nodeid.rpartition("/")[2], str(line)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the figures; workers of pytest-xdist send theirs along with their reports."""
    reports = [one for kind in ("passed", "failed") for one in terminalreporter.getreports(kind)]
    found = sorted(_figures(reports), key=lambda pair: pair[0])
    if found:
        terminalreporter.section("compared with things outside the project")
    for test, line in found:
        terminalreporter.write_line(f"{test}: {line}")
