"""How often somebody may: one table in memory that all workers of a server share.

A worker that counted by itself would let through as many times the limit as there are workers; a
table in the database would cost every request a write. So the table is made before the workers
fork and lies in memory that they share. Each server of several counts for itself.

The rule is a bucket that holds a minute's worth and fills evenly, kept as one number: the time at
which it will be full again (the generic cell rate algorithm of ATM traffic management).
"""

import fcntl
import hashlib
import mmap
import os
import struct
import tempfile
import threading
import time
import weakref
from dataclasses import dataclass

_SLOT = struct.Struct("<Qd")  # who, and when the bucket is full again (monotonic seconds)
_SLOTS = 8192
_PROBES = 8  # slots that one caller may lie in


@dataclass(frozen=True)
class Verdict:
    """Whether one more is let through, how many more are, and seconds until there is room."""

    allowed: bool
    left: int
    wait: float  # until one more is let through
    full: float  # until the bucket is full again


class RateLimiter:
    """Buckets by name, in memory shared with every process that is forked from this one."""

    def __init__(self) -> None:
        self._threads = threading.Lock()
        # A lock on a file is given back when its holder is killed; one in shared memory is not.
        handle, path = tempfile.mkstemp(prefix="threewire-")
        os.unlink(path)
        self._file = handle
        self._table = mmap.mmap(-1, _SLOT.size * _SLOTS)
        weakref.finalize(self, os.close, handle)

    def take(self, name: str, per_minute: int) -> Verdict:
        """Count one for ``name`` if its bucket has room, and say whether it had."""
        each = 60.0 / per_minute
        who = int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "little") or 1
        with self._threads:
            fcntl.lockf(self._file, fcntl.LOCK_EX)
            try:
                now = time.monotonic()
                offset, full_at = self._find(who)
                full_at = max(full_at, now)
                allowed = full_at + each - now <= 60.0 + 1e-6
                if allowed:
                    full_at += each
                    _SLOT.pack_into(self._table, offset, who, full_at)
            finally:
                fcntl.lockf(self._file, fcntl.LOCK_UN)
        room = 60.0 - (full_at - now)
        wait = 0.0 if allowed else each - room
        return Verdict(allowed, max(0, int(room / each + 1e-6)), wait, full_at - now)

    def _find(self, who: int) -> tuple[int, float]:
        """Return the slot of ``who``, or the one that matters least, with when it is full."""
        start, best, best_full = who % _SLOTS, 0, float("inf")
        for step in range(_PROBES):
            offset = (start + step) % _SLOTS * _SLOT.size
            held, full_at = _SLOT.unpack_from(self._table, offset)
            if held == who:
                return offset, full_at
            if full_at < best_full:
                best, best_full = offset, full_at
        return best, 0.0
