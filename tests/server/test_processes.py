"""What is done once in the master, so that no worker has to do it."""

import gc

import pytest

from api import create_app
from api.server.processes import Server, service_of
from engine import Diagnoser, Knowledge


class Broken:
    """An engine that answers nothing."""

    def diagnose(self, request: dict[str, object]) -> dict[str, object]:
        """Fail."""
        raise ZeroDivisionError


@pytest.mark.parametrize("works", [True, False])
def test_workers_are_forked_from_a_service_that_was_proved(
    knowledge: Knowledge, engine: Diagnoser, monkeypatch: pytest.MonkeyPatch, works: bool
) -> None:
    """Every circuit was asked before the first fork; where one gives no answer it starts all the
    same, and /readyz goes on asking."""
    app = create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine if works else Broken()})
    for one in ("unfreeze", "collect", "freeze"):
        monkeypatch.setattr(gc, one, lambda: None)  # not the test process's own objects
    server = Server(lambda: app, ())
    assert service_of(server.load()).cache.get("ready", False) is works
