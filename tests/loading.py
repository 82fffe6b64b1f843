"""How the tests are loaded, in each worker anew: imported before all else by tests/conftest.py."""

import atexit
import gc
import os
import shutil
import sys
import tempfile

# Loading makes no rubbish worth looking for: a quarter of its time went there. The collector is
# turned on again in tests/fixtures.py, past all that is loaded, before the first test.
gc.disable()
# What pytest makes of the asserts is kept though the environment wants no bytecode written: it
# took each worker four seconds. Every tool here leaves __pycache__ alone.
sys.dont_write_bytecode = False

# A worker that is done need not take apart, piece by piece, what it holds: two seconds. What was
# registered after this is still run before it.
if "PYTEST_XDIST_WORKER" in os.environ:
    atexit.register(os._exit, 0)

# In a worker of pytest-xdist this says 80, and commands would keep to it.
os.environ.pop("COLUMNS", None)

# What tests write lies in memory where there is room: a store waits for the disk at each commit,
# and no test cuts the power, which is all that waiting is for.
MEMORY, ROOM = "/dev/shm", 4 * 2**30  # noqa: S108 - pytest makes folders of its own in it
if (
    "TMPDIR" not in os.environ
    and os.access(MEMORY, os.W_OK)
    and shutil.disk_usage(MEMORY).free > ROOM
):
    tempfile.tempdir = MEMORY
