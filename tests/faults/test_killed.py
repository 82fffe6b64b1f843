"""SIGKILL in the middle of writes: what was acknowledged is there, once and whole."""

import os
import random
import signal
import time
from threading import active_count

import pytest

from api.store import Database
from tests.faults.conftest import Starter
from tests.faults.writers import Acknowledged, Writer, hold_to
from tests.sweeps import SLOW

pytestmark = pytest.mark.both_databases

ROUNDS = 100 if SLOW else 10
WHOLE = 5  # every fifth round kills the master and all workers, the others one worker


def test_killed_in_the_middle_of_writes(start: Starter, store_url: str) -> None:
    """No acknowledged case or finding is lost or doubled, none is half-written; it comes back."""
    rng = random.Random(11)  # noqa: S311 - the same moments each time
    server = start(store_url, "--workers", "2")
    seen = Acknowledged()
    writers = [Writer(server.url, seen) for _ in range(4)]
    for writer in writers:
        writer.start()
    for number in range(ROUNDS):
        before = len(seen.cases)
        deadline = time.monotonic() + 30
        while len(seen.cases) < before + 2 and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(rng.random() * 0.1)
        if number % WHOLE == WHOLE - 1:
            server.kill()
            server = start(store_url, "--workers", "2", port=server.port)
        else:
            workers = server.workers()
            os.kill(rng.choice(workers), signal.SIGKILL)
    server.wait_ready()  # nobody restarted the workers: it came back by itself
    for writer in writers:
        writer.stopping.set()
    for writer in writers:
        writer.join(30)
        assert writer.surprises == []
    assert active_count() < 50
    database = Database(store_url)
    found = hold_to(database, seen)
    database.close()
    assert found["cases"] >= ROUNDS  # it did write between the kills
