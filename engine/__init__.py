"""How the reasoning works: facts in, ranked causes with evidence out. No Flask, no clock, no I/O.

>>> from engine import diagnose
>>> answer = diagnose({"machine": {"duty": "fuel-shutoff", "control": "controller-on-crank",
...                                "coil": "body-ground"}, "findings": []})
"""

from engine.diagnosis import Diagnoser, diagnose
from engine.knowledge import (
    Fault,
    FaultsError,
    Knowledge,
    KnowledgeError,
    RequestError,
    load_knowledge,
)
from engine.learning import updated_shares, with_learning

__all__ = [
    "Diagnoser", "Fault", "FaultsError", "Knowledge", "KnowledgeError", "RequestError",
    "diagnose", "load_knowledge", "updated_shares", "with_learning",
]  # fmt: skip
