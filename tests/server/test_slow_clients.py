"""Which requests the loop answers by itself, and which a thread does."""

import socket
from types import SimpleNamespace

import pytest

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
