"""How much of a sweep runs: a part of it by default, all of it with ``TESTS_WHOLE=1``.

A sweep asks the same of every row of a table, every machine or every answer. By default it takes
rows at a fixed stride, so that the inner loop stays short; ``.ci/run`` runs each sweep whole.
``TESTS_SLOW=1`` does that too, and makes up twenty times as many cases besides.
"""

import os
from collections.abc import Iterable
from typing import TypeVar

import pytest

T = TypeVar("T")


def _on(name: str) -> bool:
    return os.environ.get(name, "") not in ("", "0")


SLOW = _on("TESTS_SLOW")
SETTING = "TESTS_WHOLE"
WHOLE = SLOW or _on(SETTING)
ONLY_WHOLE = pytest.mark.skipif(not WHOLE, reason="long; run with TESTS_WHOLE=1")
ONLY_SLOW = pytest.mark.skipif(not SLOW, reason="longer; run with TESTS_SLOW=1")
EXAMPLES = 300 if SLOW else 30 if WHOLE else 10  # what is made up for a property


def swept(rows: Iterable[T], of: int, start: int = 0) -> list[T]:
    """Return every ``of``-th of the rows from ``start`` on; all of them where sweeps run whole."""
    found = list(rows)
    return found if WHOLE else found[start % of :: of]
