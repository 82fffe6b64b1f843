"""The command line in this process, for what it prints of an answer."""

from tests.web.conftest import run

__all__ = ["run"]
