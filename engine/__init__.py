"""How the reasoning works: facts in, ranked causes with evidence out. No Flask, no clock, no I/O.

>>> from engine import diagnose
>>> answer = diagnose({"machine": {"duty": "fuel-shutoff", "control": "controller-on-crank",
...                                "coil": "body-ground"}, "findings": []})
"""

import os

# The matrices here are small: threads of the linear algebra library only wait for each other.
# Set before NumPy is first loaded; what the user has set stands.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from engine.diagnosis import Diagnoser, diagnose
from engine.knowledge import (
    Fault,
    FaultsError,
    Knowledge,
    KnowledgeError,
    RequestError,
    load_knowledge,
)
from engine.reasoning.learning import updated_shares, with_learning

__all__ = [
    "Diagnoser", "Fault", "FaultsError", "Knowledge", "KnowledgeError", "RequestError",
    "diagnose", "load_knowledge", "updated_shares", "with_learning",
]  # fmt: skip
