"""What the loop does by itself: requests that it answers, and the collector when nobody waits."""

import socket
import time
from types import SimpleNamespace

import pytest

from api.server import slow_clients
from api.server.slow_clients import PatientListener


@pytest.mark.parametrize(("path", "at_once"), [("/healthz", True), ("/readyz", False)])
def test_liveness_does_not_wait_for_a_thread(path: str, at_once: bool) -> None:
    """Whether the process lives is answered in the loop, though every thread may be busy."""
    handed: list[object] = []
    threads = SimpleNamespace(add_task=handed.append)
    with socket.create_server(("127.0.0.1", 0)) as sock:
        listener = PatientListener(sock, application=None, map={}, dispatcher=threads)
        try:
            task = SimpleNamespace(requests=[SimpleNamespace(path=path)])
            listener.add_task(task)
            assert [*listener.at_once] == ([task] if at_once else [])
            assert handed == ([] if at_once else [task])
        finally:
            listener.close()


@pytest.mark.parametrize("under_way", [False, True])
def test_the_collector_looks_when_nobody_waits(
    under_way: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once nothing came for a while, and not while a request is worked on."""
    looked: list[int] = []
    channel = SimpleNamespace(requests=[1] if under_way else [], overdue=lambda _: False)
    listener = SimpleNamespace(at_once=(), active_channels={1: channel})
    worker = object.__new__(slow_clients.PatientWorker)
    worker.__dict__.update(_map={}, _listeners=[listener], notify=lambda: None)
    monkeypatch.setattr(slow_clients.gc, "get_count", lambda: (slow_clients.COLLECT_FROM + 1, 0, 0))
    monkeypatch.setattr(slow_clients.gc, "collect", looked.append)
    monkeypatch.setattr(slow_clients.wasyncore, "loop", lambda pause, **_: time.sleep(pause))
    worker._turn()
    monkeypatch.setattr(slow_clients.wasyncore, "loop", lambda pause, **_: None)  # something came
    worker._turn()
    assert looked == ([] if under_way else [1])
