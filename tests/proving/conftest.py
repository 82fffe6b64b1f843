"""Things that the tests of the proving ground share."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # decks.py stands beside the tests
