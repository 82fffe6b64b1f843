"""The page on batches: its example runs against a real server, its figures are the program's."""

import re
from pathlib import Path
from typing import Any

from api.answers import demos
from api.answers.answering import MAX_BYTES
from api.server import slow_clients
from api.settings import SETTINGS
from api.web.batch import BLOCK
from engine import Diagnoser
from tests.serving import Running

PAGE = (Path(__file__).parents[3] / "api" / "docs" / "batch.md").read_text(encoding="utf-8")


def test_example_runs(engine: Diagnoser, tmp_path: Path) -> None:
    """The page's Python sends and reads at once, more than the buffers between hold."""
    found = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    names: dict[str, Any] = {}
    exec(found[1], names)  # noqa: S102 - our own page
    requests = [case.request for case in demos.load_all()] * 40
    server = Running(tmp_path / "home")
    try:
        answers = list(names["batch"]("127.0.0.1", server.port, requests, {"X-Request-Id": "a"}))
    finally:
        server.kill()
    assert len(answers) == len(requests)
    assert answers[-1] == engine.diagnose(requests[-1])


def test_figures_are_the_programs() -> None:
    """Limits and times on the page are those in force."""
    assert f"({SETTINGS['batch_lines'].default:,})" in PAGE
    assert (MAX_BYTES, BLOCK) == (2**20, 2**10)
    assert (slow_clients.GRACE_SECONDS, slow_clients.BYTES_A_SECOND) == (5, 5000)
    assert slow_clients.SEND_SECONDS == 30
