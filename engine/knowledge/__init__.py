"""Load kb/ and check it: text, shape, cross-references."""

from engine.knowledge.faults import Fault, FaultsError, KnowledgeError, RequestError
from engine.knowledge.load import Knowledge, load_knowledge

__all__ = [
    "Fault", "FaultsError", "Knowledge", "KnowledgeError", "RequestError", "load_knowledge",
]  # fmt: skip
