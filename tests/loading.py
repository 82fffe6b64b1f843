"""How the tests are loaded, in each worker anew: imported before all else by tests/conftest.py."""

import gc
import sys

# Loading makes no rubbish worth looking for: a quarter of its time went there. conftest turns the
# collector on again, past all that is loaded, before the first test.
gc.disable()
# What pytest makes of the asserts is kept though the environment wants no bytecode written: it
# took each worker four seconds. Every tool here leaves __pycache__ alone.
sys.dont_write_bytecode = False
