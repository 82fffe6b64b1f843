"""One blueprint a resource; ``MODULES`` is the one list of them.

Each module carries, beside its views, ``OPERATIONS``: what /openapi.json says of them.
"""

from types import ModuleType

from api.web import (
    batch,
    cases,
    causes,
    checks,
    circuits,
    description,
    diagnoses,
    drawings,
    health,
    learning,
    metrics,
    reference,
    rules,
    separation,
    sums,
    work_orders,
)

MODULES: list[ModuleType] = [
    diagnoses,
    batch,
    cases,
    work_orders,
    learning,
    causes,
    checks,
    circuits,
    drawings,
    rules,
    separation,
    sums,
    reference,
    description,
    health,
    metrics,
]
