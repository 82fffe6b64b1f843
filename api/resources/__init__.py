"""One blueprint a resource; ``MODULES`` is the one list of them.

Each module carries, beside its views, ``OPERATIONS``: what /openapi.json says of them.
"""

from types import ModuleType

from api.resources import (
    batch,
    causes,
    checks,
    circuits,
    description,
    diagnoses,
    health,
    metrics,
    reference,
    rules,
    separation,
    sums,
)

MODULES: list[ModuleType] = [
    diagnoses,
    batch,
    causes,
    checks,
    circuits,
    rules,
    separation,
    sums,
    reference,
    description,
    health,
    metrics,
]
