"""The command line in this process, as the tests of the service have it."""

from tests.web.conftest import run

__all__ = ["run"]
