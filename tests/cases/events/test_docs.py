"""The page on events: its example checks real signatures, its figures are the program's."""

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from api.cases.events import KINDS, posting, queue

PAGE = (Path(__file__).parents[3] / "api" / "docs" / "events.md").read_text(encoding="utf-8")
BODY = '{"type":"case.closed"}'


@pytest.fixture
def example() -> dict[str, Any]:
    """What the page's Python example defines."""
    found = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    names: dict[str, Any] = {}
    exec(found[1], names)  # noqa: S102 - our own page
    return names


def test_example_takes_what_is_sent(example: dict[str, Any]) -> None:
    """The example takes a message as it is sent, and one signed with an old and a new secret."""
    secret = posting.new_secret()
    headers = posting.headers([secret], "msg_1", BODY, datetime.now(UTC))
    assert example["check"](secret, headers, BODY.encode())
    both = posting.headers([posting.new_secret(), secret], "msg_1", BODY, datetime.now(UTC))
    assert example["check"](secret, both, BODY.encode())


def test_example_refuses_the_rest(example: dict[str, Any]) -> None:
    """It refuses another body, another secret and an old attempt."""
    secret = posting.new_secret()
    headers = posting.headers([secret], "msg_1", BODY, datetime.now(UTC))
    assert not example["check"](secret, headers, b"{}")
    assert not example["check"](posting.new_secret(), headers, BODY.encode())
    old = posting.headers([secret], "msg_1", BODY, datetime(2026, 1, 1, tzinfo=UTC))
    assert not example["check"](secret, old, BODY.encode())


def test_kinds_and_figures_are_the_programs() -> None:
    """Every kind has its row, and the waits, attempts and days are those of the queue."""
    assert tuple(re.findall(r"^\| `([a-z.]+)` \|", PAGE, re.MULTILINE)) == KINDS
    hours = [wait // 3600 for wait in queue.WAITS[3:]]
    assert f"then {', '.join(map(str, hours[:-1]))} and {hours[-1]} hours" in PAGE
    assert queue.WAITS[:3] == (5, 300, 1800)
    assert queue.ATTEMPTS == 10
    assert f"deleted after {queue.KEEP['delivered'].days} days" in PAGE
    assert f"given up after {queue.KEEP['given-up'].days}." in PAGE
