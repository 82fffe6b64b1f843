"""One blueprint a resource; ``MODULES`` is the one list of them.

Each module carries, beside its views, ``OPERATIONS``: what /openapi.json says of them.
"""

from types import ModuleType

from api.desk import routes as desk
from api.resources import (
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
    desk,
    description,
    health,
    metrics,
]
