"""Published tables for the tests of the sums, read as plain YAML."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

TABLES = Path(__file__).parents[2] / "kb" / "tables"

Rows = list[dict[str, Any]]


@pytest.fixture(scope="session")
def table() -> Callable[[str], Rows]:
    """Give a function that returns the rows of the table with this id."""

    def rows_of(name: str) -> Rows:
        text = (TABLES / f"{name}.yaml").read_text(encoding="utf-8")
        rows: Rows = yaml.load(text, yaml.CSafeLoader)["rows"]
        return rows

    return rows_of
