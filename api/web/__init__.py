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
    knowledge,
    reference,
    sums,
    traces,
    transfers,
    work_orders,
)

BLUEPRINTS: list[Blueprint] = [
    one.blueprint
    for one in (
        diagnoses, batch, cases, transfers, work_orders, events, knowledge, hearings, drawings,
        sums, traces, reference, health,
    )
]  # fmt: skip
