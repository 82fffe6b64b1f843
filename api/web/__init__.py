"""The HTTP interface: a blueprint a resource, and what is common to all of them.

A view says what it takes and answers in its decorator (operations); that holds requests to it and
stands in /openapi.json. ``BLUEPRINTS`` is the one list of what is served.
"""

from flask import Blueprint

from api.web import (
    batch,
    cases,
    diagnoses,
    drawings,
    events,
    health,
    hearings,
    imports,
    knowledge,
    reference,
    sums,
    traces,
    work_orders,
)

BLUEPRINTS: list[Blueprint] = [
    diagnoses.blueprint,
    batch.blueprint,
    cases.blueprint,
    imports.blueprint,
    work_orders.blueprint,
    events.blueprint,
    knowledge.blueprint,
    hearings.blueprint,
    drawings.blueprint,
    sums.blueprint,
    traces.blueprint,
    reference.blueprint,
    health.blueprint,
]
