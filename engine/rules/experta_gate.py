"""The one door to experta, which needs help on Python 3.10 and later.

experta pins frozendict 1.2, which names ``collections.Mapping`` (gone since 3.10): the name is put
back for the length of this import only. experta's package swallows ImportError, so its presence is
asserted; and it calls ``logging.basicConfig``, whose root handler is taken away again.
"""

import collections
import collections.abc
import logging

_before = list(logging.root.handlers)
_had = hasattr(collections, "Mapping")
if not _had:
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
try:
    import experta
finally:
    if not _had:
        del collections.Mapping  # type: ignore[attr-defined]
for _handler in list(logging.root.handlers):
    if _handler not in _before:
        logging.root.removeHandler(_handler)

if not hasattr(experta, "KnowledgeEngine"):  # pragma: no cover
    raise ImportError("experta is installed but did not import whole")

AND = experta.AND
OR = experta.OR
NOT = experta.NOT
P = experta.P
Fact = experta.Fact
KnowledgeEngine = experta.KnowledgeEngine
Rule = experta.Rule

__all__ = ["AND", "NOT", "OR", "Fact", "KnowledgeEngine", "P", "Rule"]
