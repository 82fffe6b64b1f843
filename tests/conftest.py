"""What all tests share: the figures of tests/reference are printed under pytest-xdist too."""

from tests.reference.conftest import pytest_terminal_summary

__all__ = ["pytest_terminal_summary"]
